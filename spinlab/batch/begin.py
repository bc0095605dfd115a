"""`run_batch`: from wishes to a run, and what is left in order however the run ends."""

from __future__ import annotations

import os
import threading
from contextlib import ExitStack, suppress
from pathlib import Path

from spinlab.batch.engines import Engine, LocalEngine, default_workers
from spinlab.batch.folder import INDEX, PROFILES, TABLE, BatchFolder
from spinlab.batch.ledger import Ledger
from spinlab.batch.lock import FolderLock
from spinlab.batch.profiles import Profiles
from spinlab.batch.run import Run, Tell, Wishes, now_utc
from spinlab.batch.sources import Listed, open_source
from spinlab.batch.task import Examine, examine
from spinlab.batch.value import DEFAULT_LIMITS, Redo, Tally
from spinlab.contained import Limits
from spinlab.errors import InputError, SpinlabError, printable
from spinlab.machine import load_machine

SETTLE_S = 5.0


def run_batch(
    source: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    machine: str | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    watch: bool = False,
    page: bool = False,
    redo: Redo = "nothing",
    limits: Limits = DEFAULT_LIMITS,
    settle_s: float = SETTLE_S,
    work: Examine = examine,
    tell: Tell | None = None,
    stop: threading.Event | None = None,
) -> Tally:
    """Check every recording of a folder or list, several at a time.

    Args:
        source: a folder, searched with all below it, or a list: a text with one path a line, or a
            CSV table with the columns recording and machine.
        out: folder for results, index and table; made if missing.  The same folder again goes on
            where the last run stopped.
        machine: profile for recordings that have no other: a shipped name or a TOML file.  In a
            folder, `profiles.csv` (columns recording, a path or pattern, and machine) goes before.
        workers: processes side by side; as many as there are processors if None.
        scheduler: address of a Dask scheduler that does the work instead.
        watch: go on for ever, taking up new files once they have kept still for `settle_s`.
        page: a page for each recording besides its JSON.
        redo: finished work to do again: "nothing", "failed" or "all".
        limits: of time and memory for each recording.
        settle_s: see `watch`.
        work: what is done with each recording, for tests and for other analyses; an importable
            function as `spinlab.batch.task.examine` is.
        tell: called with a `Status` after each file, and once a second or so in between.
        stop: set it from another thread to end after the files in hand.

    Returns:
        What it came to; the same stands in the index.

    Raises:
        InputError: the source, a profile or the scheduler cannot be used, or there is nothing to
            check.
        OutputError: results cannot be written, or another batch is at work there.
    """
    folder = BatchFolder(Path(out).absolute())
    profiles = Profiles(machine, copies=folder.root / PROFILES)
    opened = open_source(Path(source), out=folder.root, profiles=profiles)
    wishes = Wishes(
        page=page,
        redo=redo,
        examine=f"{work.__module__}:{work.__qualname__}",
        settle_s=settle_s if watch else None,
    )
    if watch and isinstance(opened, Listed):
        raise InputError("Only a folder can be watched, not a list.")
    if machine is not None:
        load_machine(machine)  # before anything is made, one sentence on what is wrong with it
    folder.prepare()
    with ExitStack() as stack:
        stack.enter_context(FolderLock(folder.root))
        folder.sweep()
        ledger = stack.enter_context(Ledger(folder.root, now=now_utc()))
        engine = _engine(workers, scheduler, limits)
        run = Run(
            opened,
            folder,
            ledger,
            engine,
            wishes,
            tell=tell or (lambda status: None),
            stop=stop or threading.Event(),
        )
        _go(run, engine)
        ranks = ledger.ranks()
    if not ranks and not watch:
        raise InputError(f"There are no recordings in {printable(source)}.")
    return Tally(
        ranks=ranks,
        analysed=run.analysed,
        kept=run.kept,
        index=str(folder.root / INDEX),
        table=str(folder.root / TABLE),
    )


def _engine(workers: int | None, scheduler: str | None, limits: Limits) -> Engine:
    if scheduler is None:
        return LocalEngine(workers or default_workers(), limits)
    from spinlab.batch.cluster import ClusterEngine

    return ClusterEngine(scheduler, limits)


def _go(run: Run, engine: Engine) -> None:
    """Run; however it ends, no process is left behind and the index shows what is finished."""
    try:
        run.go()
    except BaseException:
        engine.close()
        with suppress(SpinlabError):
            run.take_in()
            run.publish()
        raise
    engine.close()
    run.publish()
