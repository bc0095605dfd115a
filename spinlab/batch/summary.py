"""One line of the index, taken from a whole result or from the reason why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Summary:
    """What came out of one recording, in a few words and numbers.

    Attributes:
        outcome: the verdict's state, or how the check failed (see `spinlab.batch.severity`).
        sentence: the verdict, or the reason of the failure.
        probability: of the finding that decides the verdict; None where there is none.
        subject: what that finding is about.
        top_speed_rpm: highest speed held, with its standard uncertainty.
        stages_reached: plateaus reached; None where none of them could be measured.
        stages_expected: plateaus that the programme asks for.
        duration_s: length of the recording.
        kind: "sound" or "acceleration".
        machine: name of the profile; empty without one.
        version: of the spinlab that made the result.
    """

    outcome: str
    sentence: str
    probability: float | None = None
    subject: str = ""
    top_speed_rpm: float | None = None
    top_speed_standard_uncertainty_rpm: float | None = None
    stages_reached: int | None = None
    stages_expected: int | None = None
    duration_s: float | None = None
    kind: str = ""
    machine: str = ""
    version: str = ""


def summarise(result: Mapping[str, Any]) -> Summary:
    """The summary of a result of format "spinlab.result".

    Raises:
        KeyError, TypeError: it is not such a result.
    """
    verdict, recording = result["verdict"], result["recording"]
    decisive = _decisive(result["findings"], verdict["state"])
    asked = [stage for stage in result["stages"] if stage["expected_rpm"] is not None]
    reached = sum(stage["outcome"] == "reached" for stage in asked)
    measured = any(stage["outcome"] != "not measurable" for stage in asked)
    return Summary(
        outcome=verdict["state"],
        sentence=verdict["sentence"],
        probability=decisive.get("probability"),
        subject=decisive.get("subject", ""),
        top_speed_rpm=result["top_speed_rpm"],
        top_speed_standard_uncertainty_rpm=result["top_speed_standard_uncertainty_rpm"],
        stages_reached=reached if measured else None,
        stages_expected=len(asked) if asked else None,
        duration_s=recording["duration_s"],
        kind=recording["kind"],
        machine=(result.get("machine") or {}).get("name", ""),
        version=(result.get("software") or {}).get("version", ""),
    )


def _decisive(findings: list[dict[str, Any]], state: str) -> dict[str, Any]:
    """The surest finding of the verdict's state, where findings decide it."""
    if state not in ("fault", "attention"):
        return {}
    of_state = [finding for finding in findings if finding["state"] == state]
    return max(of_state, key=lambda finding: finding["probability"] or 0.0, default={})
