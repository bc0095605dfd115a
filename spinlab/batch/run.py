"""One run over a source: take up what is there, skip what is finished, note what comes out."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from spinlab.batch.engines import Answer, Engine
from spinlab.batch.folder import BatchFolder, key_of
from spinlab.batch.ledger import Ledger
from spinlab.batch.publish import Publisher
from spinlab.batch.settle import Settling
from spinlab.batch.severity import FAILURES
from spinlab.batch.sources import Found, Source, stamp_of
from spinlab.batch.summary import Summary
from spinlab.batch.task import Task, sha256_of
from spinlab.batch.value import Forecast, Redo, Status
from spinlab.errors import InputError

Tell = Callable[[Status], None]

# How long to wait for the next answer, or in watch mode for the next file.
_LOOK_EVERY_S = 0.5
_TELL_EVERY_S = 1.0
# Looking for new files takes at most one part in so many of the time.
_SHARE_OF_TIME = 20
# A file that changes under our hands is begun anew so many times before it counts as failed.
_ATTEMPTS = 3


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What is asked for.

    Attributes:
        page: whether a page is wanted for each recording.
        redo: which finished work is done again.
        examine: the function that does the work, as "module:name".
        settle_s: None for one pass; for watching, how long a file must have kept still.
    """

    page: bool
    redo: Redo
    examine: str
    settle_s: float | None


@dataclass(frozen=True, kw_only=True)
class _Work:
    found: Found
    key: str
    sha256: str
    attempt: int


class Run:
    """The run; `go` does it."""

    def __init__(
        self,
        source: Source,
        folder: BatchFolder,
        ledger: Ledger,
        engine: Engine,
        wishes: Wishes,
        *,
        tell: Tell,
        stop: threading.Event,
    ) -> None:
        self._source, self._folder, self._ledger, self._engine = source, folder, ledger, engine
        self._wishes, self._tell, self._stop = wishes, tell, stop
        self._in_hand: dict[Future[Answer], _Work] = {}
        self._publisher = Publisher(folder, ledger)
        self._forecast = Forecast(0)
        self._total = self._done = 0
        self._next_look_s = self._told_s = 0.0
        self.analysed = self.kept = 0

    def go(self) -> None:
        """Work until everything is done; when watching, until `stop` is set."""
        if self._wishes.settle_s is None:
            self._count()
        candidates = self._candidates()
        more = True
        while more or self._in_hand:
            # Asked every time: an engine that has gone away says so here.
            slots = self._engine.slots
            more = more and not self._stop.is_set() and self._fill(candidates, slots)
            self._collect()
            self._tell_now_and_then()
            self._publisher.publish_if_due(idle=not self._in_hand)

    def take_in(self) -> None:
        """After an end before its time: write down what is finished and not written down yet."""
        for future, work in self._in_hand.items():
            if future.done() and not future.cancelled() and future.exception() is None:
                answer = future.result()
                if "changed" not in answer:
                    self._receive(work, answer)

    def publish(self) -> None:
        """Write index and table as things stand."""
        self._ledger.save()
        self._publisher.publish()

    def _count(self) -> None:
        """How much there is to do, from sizes alone."""
        size_bytes = 0
        for found in self._source.found():
            self._total += 1
            known = self._ledger.known(found)
            if (
                known is None
                or known.sha256 is None
                or not self._finished(self._key(known.sha256, found))
            ):
                size_bytes += found.size_bytes
        self._forecast = Forecast(size_bytes)

    def _candidates(self) -> Iterator[Found | None]:
        """Files to take up; when watching, None whenever there is none right now."""
        if self._wishes.settle_s is None:
            yield from self._source.found()
            return
        settling = Settling(self._wishes.settle_s)
        # The first look must succeed; later a network folder may be away for a while.
        yield from self._new(settling)
        warned = ""
        while True:
            yield None
            began_s = time.monotonic()
            if began_s < self._next_look_s:
                continue
            try:
                yield from self._new(settling)
                warned = ""
            except InputError as error:
                if str(error) != warned:
                    warned = str(error)
                    self._tell_status(self._status(warning=warned))
            # A look at many files takes its time, and is taken the more rarely.
            self._next_look_s = began_s + max(
                _LOOK_EVERY_S, _SHARE_OF_TIME * (time.monotonic() - began_s)
            )

    def _new(self, settling: Settling) -> Iterator[Found]:
        for found in self._source.found():
            if not self._taken_up(found) and settling.settled(found, now_s=time.monotonic()):
                self._total += 1
                self._forecast.add(0, total_bytes=found.size_bytes)
                yield found
        settling.end_round()

    def _taken_up(self, found: Found) -> bool:
        """Whether this run knows the file as it is now, and under the same profile."""
        known = self._ledger.known(found)
        if known is None or not known.now:
            return False
        return known.sha256 is None or known.key == self._key(known.sha256, found)

    def _fill(self, candidates: Iterator[Found | None], slots: int) -> bool:
        """Hand out as much work as the engine takes; False when there is no more to come."""
        while len(self._in_hand) < slots:
            try:
                found = next(candidates)
            except StopIteration:
                return False
            if found is None:
                return True
            self._take_up(found)
        return True

    def _take_up(self, found: Found, *, attempt: int = 1) -> None:
        known = self._ledger.known(found) if attempt == 1 else None
        if found.stamp is None and os.path.exists(found.path):
            # A pipe, for instance, would be waited for without end.
            self._fail_unread(found, "It is no ordinary file: name a recording.")
            return
        try:
            sha256 = known.sha256 if known is not None else None
            sha256 = sha256 or sha256_of(found.path)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            self._fail_unread(found, f"It cannot be opened: {reason}.")
            return
        key = self._key(sha256, found)
        self._ledger.note(found, sha256=sha256, key=key)
        if self._finished(key) or any(work.key == key for work in self._in_hand.values()):
            self.kept += 1
            self._done += 1
            return
        self._forecast.begin(time.monotonic())
        task = Task(
            key=key,
            sha256=sha256,
            path=str(found.path),
            profile=None if found.profile is None else found.profile.use,
            result=str(self._folder.result(key)),
            page=str(self._folder.page(key)) if self._wishes.page else None,
            examine=self._wishes.examine,
        )
        work = _Work(found=found, key=key, sha256=sha256, attempt=attempt)
        self._in_hand[self._engine.submit(task)] = work

    def _collect(self) -> None:
        if not self._in_hand:
            if self._wishes.settle_s is not None:
                self._stop.wait(_LOOK_EVERY_S)
            return
        done, _ = wait(self._in_hand, timeout=_LOOK_EVERY_S, return_when=FIRST_COMPLETED)
        for future in done:
            answer, work = future.result(), self._in_hand[future]
            self._receive(work, answer)
            del self._in_hand[future]

    def _receive(self, work: _Work, answer: Answer) -> None:
        if "changed" in answer:
            fresh = replace(work.found, stamp=stamp_of(work.found.path))
            if work.attempt < _ATTEMPTS and fresh.stamp is not None:
                self._take_up(fresh, attempt=work.attempt + 1)
                return
            answer = {"failed": "changing", "reason": "The file changes while it is read."}
        if "failed" in answer:
            summary = Summary(outcome=answer["failed"], sentence=answer["reason"])
        else:
            summary = Summary(**answer["summary"])
        self._ledger.finish(work.key, summary, now=now_utc())
        self.analysed += 1
        self._finish_file(work.found, summary)

    def _fail_unread(self, found: Found, reason: str) -> None:
        self._ledger.note(found, sha256=None, key=None, problem=reason)
        self._finish_file(found, Summary(outcome="unusable", sentence=reason))

    def _finish_file(self, found: Found, summary: Summary) -> None:
        self._done += 1
        self._forecast.add(found.size_bytes)
        self._publisher.something_new()
        self._tell_status(self._status(name=found.name, summary=summary))

    def _tell_now_and_then(self) -> None:
        """The time left shrinks between two files too."""
        if time.monotonic() - self._told_s >= _TELL_EVERY_S:
            self._tell_status(self._status())

    def _tell_status(self, status: Status) -> None:
        self._told_s = time.monotonic()
        self._tell(status)

    def _status(
        self, *, name: str = "", summary: Summary | None = None, warning: str = ""
    ) -> Status:
        return Status(
            done=self._done,
            total=self._total,
            left_s=self._forecast.left_s(time.monotonic()),
            share=self._forecast.share,
            name=name,
            outcome=summary.outcome if summary is not None else "",
            sentence=summary.sentence if summary is not None else "",
            warning=warning,
        )

    def _key(self, sha256: str, found: Found) -> str:
        digest = None if found.profile is None else found.profile.digest
        return key_of(sha256, profile=digest, examine=self._wishes.examine)

    def _finished(self, key: str) -> bool:
        """Whether this work need not be done, or done again."""
        known = self._ledger.outcome(key)
        if known is None:
            summary = None if self._wishes.redo == "all" else self._folder.recovered(key)
            if summary is None or self._lacks_page(key):
                return False
            self._ledger.finish(key, summary, now=now_utc())
            return True
        summary, now = known
        failed = summary.outcome in FAILURES
        if not now and (self._wishes.redo == "all" or (failed and self._wishes.redo == "failed")):
            return False
        return failed or (self._folder.result(key).exists() and not self._lacks_page(key))

    def _lacks_page(self, key: str) -> bool:
        return self._wishes.page and not self._folder.page(key).exists()


def now_utc() -> str:
    """The time of day, for people: to the second, with its zone."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
