"""The shapes of what the interface takes and gives."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from spinlab.desk.review import LONGEST_NOTE

Line = Annotated[str, StringConstraints(strip_whitespace=True, pattern=r"^[^\x00-\x1f\x7f]*$")]


class Problem(BaseModel):
    """What is wrong and what to do, in one sentence."""

    sentence: str


class Told(BaseModel):
    """What is said about a recording before it is sent."""

    model_config = ConfigDict(extra="forbid")

    size_bytes: int = Field(ge=1, le=2**40)
    file_name: Line = Field(default="recording", min_length=1, max_length=255)
    reference: Line = Field(default="", max_length=80)
    profile: Line = Field(default="", max_length=80)
    readings: str = Field(default="", max_length=4000)
    consent: bool


class Progress(BaseModel):
    """How much of an upload has come."""

    offset_bytes: int
    size_bytes: int
    part_bytes: int


class Finished(BaseModel):
    """How an upload is closed; the hash, if stated, must be that of what came."""

    model_config = ConfigDict(extra="forbid")

    sha256: str = Field(default="", pattern="^([0-9a-f]{64})?$")


class JobMade(BaseModel):
    """The job that an upload became."""

    job: str


class Me(BaseModel):
    """Who is signed in."""

    name: str
    role: str
    csrf: str


class JobShort(BaseModel):
    """A job as lists show it."""

    id: str
    reference: str
    technician: str
    profile: str
    created_s: float
    state: str
    verdict_state: str | None
    verdict_sentence: str | None
    failure: str | None


class JobList(BaseModel):
    """One page of jobs; `after` asks for the next one and is empty at the end."""

    jobs: list[JobShort]
    after: str


class FindingTold(BaseModel):
    """One finding of a job."""

    number: int
    kind: str
    subject: str
    state: str
    probability: float | None


class JobWhole(JobShort):
    """A job with its findings."""

    findings: list[FindingTold]
    message: str | None


class Label(BaseModel):
    """Whether a person agrees with a finding; null takes it back."""

    model_config = ConfigDict(extra="forbid")

    agrees: bool | None


class NewNote(BaseModel):
    """A note for colleagues."""

    model_config = ConfigDict(extra="forbid")

    text: str = Field(min_length=1, max_length=LONGEST_NOTE)
