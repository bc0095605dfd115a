"""The worker: claims jobs, has them analysed in a contained child, puts the results on record.

It may be killed at any moment.  What it was at is then claimed again by another once the lease has
run out, and what it had half written is swept away.
"""

from __future__ import annotations

import logging
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, Field, ValidationError

from spinlab.contained import Contained
from spinlab.desk import jobs
from spinlab.desk.database import Database
from spinlab.desk.examine import examine
from spinlab.desk.jobs import Claim, Outcome
from spinlab.desk.profiles import profile_source
from spinlab.desk.settings import Settings
from spinlab.desk.vault import Vault, sync_file, sync_folder
from spinlab.errors import InputError, JobEnded, SpinlabError

LOG = logging.getLogger("spinlab.desk.worker")
# How often an idle worker looks for work, and how often it tidies up.
IDLE_S = 0.5
SWEEP_S = 600.0
# A child that was ended from outside may have been in the way of something else: try again.
_WORTH_ANOTHER_TRY = ("killed",)

State = Literal["clear", "attention", "fault", "not measurable"]
Examiner = Callable[..., dict[str, Any]]


class _Found(BaseModel):
    """One finding as the child tells it, checked."""

    kind: str = Field(max_length=32)
    subject: str = Field(max_length=2000)
    state: State
    probability: float | None = Field(default=None, ge=0, le=1)
    reason: str = Field(default="", max_length=4000)
    next_step: str = Field(default="", max_length=4000)


class _VerdictTold(BaseModel):
    state: State
    sentence: str = Field(max_length=4000)


class _Summary(BaseModel):
    """The child's answer, checked: a decoder that was taken over may say anything."""

    verdict: _VerdictTold
    software: str = Field(max_length=32)
    findings: list[_Found] = Field(max_length=1000)


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """All that a worker works with; `examiner` is what the child runs."""

    settings: Settings
    database: Database
    vault: Vault
    examiner: Examiner = examine


def work(bench: Bench, stop: threading.Event, *, sweep: Callable[[], object] | None = None) -> None:
    """Work until told to stop.

    Args:
        bench: what to work with.
        stop: set by whoever wants the worker to end; a job under way is handed back.
        sweep: run every ten minutes while idle.
    """
    next_sweep = time.monotonic()
    while not stop.is_set():
        if sweep is not None and time.monotonic() >= next_sweep:
            sweep()
            next_sweep = time.monotonic() + SWEEP_S
        if not work_once(bench, stop):
            stop.wait(IDLE_S)


def work_once(bench: Bench, stop: threading.Event | None = None) -> bool:
    """Do one job if there is one; True if there was."""
    with bench.database.write() as connection:
        held = jobs.claim(connection, bench.settings)
    if held is None:
        return False
    began = time.monotonic()
    if held.attempt > bench.settings.attempts:
        ended = "set aside"
        _set_aside(bench, held)
    else:
        ended = _attempt(bench, held, stop or threading.Event())
    seconds = round(time.monotonic() - began, 3)
    LOG.info("job", extra={"job": held.job_id, "ended": ended, "seconds": seconds})
    return True


def _set_aside(bench: Bench, held: Claim) -> None:
    tries = bench.settings.attempts
    sentence = f"The analysis was begun {tries} times and its worker died each time; tell support."
    with bench.database.write() as connection:
        jobs.fail(connection, held, sentence)


def _attempt(bench: Bench, held: Claim, stop: threading.Event) -> str:
    """Analyse and put on record; returns how it ended, for the log."""
    folder = bench.vault.results(held.job_id, held.lease)
    folder.mkdir(parents=True, mode=0o700)
    done = threading.Event()
    try:
        with Contained(bench.settings.limits) as child:
            watch = threading.Thread(target=_keep, args=(bench, held, child, stop, done))
            watch.start()
            try:
                outcome = _examined(bench, held, child, folder)
            finally:
                done.set()
                watch.join()
        _settle(folder)
        with bench.database.write() as connection:
            kept = jobs.finish(connection, held, outcome)
    except SpinlabError as error:
        shutil.rmtree(folder, ignore_errors=True)
        return _failed(bench, held, error)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    if not kept:
        shutil.rmtree(folder, ignore_errors=True)
        return "lease lost"
    return "done"


def _examined(bench: Bench, held: Claim, child: Contained, folder: Path) -> Outcome:
    answer = child.call(
        bench.examiner,
        str(bench.vault.original(held.sha256)),
        held.file_name,
        profile_source(bench.vault, held.profile),
        held.readings.splitlines(),
        str(folder),
    )
    try:
        told = _Summary.model_validate(answer)
    except ValidationError as error:
        raise JobEnded("its process answered nonsense.", kind="crash") from error
    return Outcome(
        verdict_state=told.verdict.state,
        verdict_sentence=told.verdict.sentence,
        software=told.software,
        findings=tuple(entry.model_dump() for entry in told.findings),
    )


def _keep(
    bench: Bench, held: Claim, child: Contained, stop: threading.Event, done: threading.Event
) -> None:
    """Renew the lease while the child works; end the child when told to stop or when it is lost."""
    while not done.wait(min(1.0, bench.settings.lease_s / 4)):
        if stop.is_set():
            child.close()
            return
        try:
            with bench.database.write() as connection:
                kept = jobs.renew(connection, held, bench.settings)
        except Exception:
            # The database may be away for a moment; the lease decides whether it was too long.
            LOG.exception("lease not renewed", extra={"job": held.job_id})
            continue
        if not kept:
            child.close()
            return


def _failed(bench: Bench, held: Claim, error: SpinlabError) -> str:
    again = isinstance(error, JobEnded) and error.kind in (*_WORTH_ANOTHER_TRY, "stopped")
    with bench.database.write() as connection:
        if again:
            if isinstance(error, JobEnded) and error.kind == "stopped":
                jobs.let_go(connection, held)
                return "handed back"
            jobs.retry(connection, held)
            return "to be tried again"
        jobs.fail(connection, held, _sentence(error))
    return "unusable" if isinstance(error, InputError) else "failed"


def _sentence(error: SpinlabError) -> str:
    text = str(error)
    return f"The analysis came to no end. {text}" if isinstance(error, JobEnded) else text


def _settle(folder: Path) -> None:
    """Write the results through to the disk and take away the right to change them."""
    for path in folder.iterdir():
        sync_file(path)
        path.chmod(0o400)
    sync_folder(folder)
    sync_folder(folder.parent)
