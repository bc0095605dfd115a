"""Run many cases on every core, once each: what was done is kept as one JSON line per case.

The lines lie in a cache folder under the version of the code that made them, so an interrupted
run goes on where it stopped and a changed program starts anew.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import tempfile
import traceback
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any, Protocol

PROJECT = Path(__file__).resolve().parents[2]
# What cannot change a measurement: the report that draws it.
NO_INFLUENCE = ("report",)
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")

Result = dict[str, Any]


class Keyed(Protocol):
    """A case that knows its name in the cache."""

    @property
    def key(self) -> str:
        """Its name."""


def one_thread_each() -> None:
    """One thread per process: the cores are shared out among processes."""
    for name in ONE_THREAD:
        os.environ[name] = "1"


def code_version(extra: Iterable[str] = ("population.py",)) -> str:
    """A name for the code as it lies here: a hash over the package and the named bench files."""
    package = PROJECT / "spinlab"
    files = [
        path
        for path in sorted(package.rglob("*"))
        if path.suffix in {".py", ".toml"}
        and path.relative_to(package).parts[0] not in NO_INFLUENCE
    ]
    files += [Path(__file__).with_name(name) for name in extra]
    digest = hashlib.sha256()
    for path in files:
        digest.update(str(path.relative_to(PROJECT)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def default_folder() -> Path:
    """Where results are kept if no folder is named."""
    home = os.environ.get("XDG_CACHE_HOME")
    return Path(home or tempfile.gettempdir()) / "spinlab-accuracy"


def read_lines(path: Path) -> dict[str, Result]:
    """Results kept so far, by key; a line cut off by an interruption is passed over."""
    kept: dict[str, Result] = {}
    if path.exists():
        for line in path.read_text("utf-8").splitlines():
            try:
                entry = json.loads(line)
                kept[entry["key"]] = entry
            except (json.JSONDecodeError, KeyError, TypeError):
                continue
    return kept


def guarded(work: Callable[[Any], Result], case: Any) -> Result:
    """What `work` makes of a case, or the error that stopped it: a result as well."""
    try:
        return work(case)
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(where.filename).name}:{where.lineno}"
        return {"error": f"{type(error).__name__}: {error} ({place})"}


def run(
    name: str,
    work: Callable[[Any], Result],
    cases: Sequence[Keyed],
    *,
    folder: Path,
    version: str,
    workers: int | None = None,
) -> list[Result]:
    """The result of every case, in order, from the cache or computed now.

    Args:
        name: of the part of the bench; names the file.
        work: a function of a module's top level, from a case to plain JSON values.
        cases: what to compute.
        folder: the cache.
        version: of the code, part of the file's name.
        workers: processes; every core if None.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}-{version}.jsonl"
    kept = read_lines(path)
    missing = [case for case in cases if case.key not in kept]
    if missing:
        _compute(name, work, missing, path, kept, workers or os.cpu_count() or 1)
    return [kept[case.key] for case in cases]


def _compute(
    name: str,
    work: Callable[[Any], Result],
    missing: Sequence[Keyed],
    path: Path,
    kept: dict[str, Result],
    workers: int,
) -> None:
    import click

    one_thread_each()
    fresh = multiprocessing.get_context("spawn")
    with (
        path.open("a", encoding="utf-8") as lines,
        ProcessPoolExecutor(min(workers, len(missing)), mp_context=fresh) as pool,
        click.progressbar(length=len(missing), label=f"{name:<13}", show_pos=True) as bar,
    ):
        waiting = {pool.submit(guarded, work, case): case for case in missing}
        try:
            for done in as_completed(waiting):
                entry = {"key": waiting[done].key, **done.result()}
                kept[entry["key"]] = entry
                lines.write(json.dumps(entry) + "\n")
                lines.flush()
                bar.update(1)
        except BaseException:
            pool.shutdown(cancel_futures=True, wait=False)
            raise
