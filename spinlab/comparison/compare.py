"""Two or more analyses held against each other: the one place that orders the steps.

limits -> speeds shared -> order and envelope spectra -> places -> all tests together -> claims
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from spinlab.analysis import Analysis
from spinlab.comparison.align import SpeedBin, speed_bins
from spinlab.comparison.allowed import gaps, limits, why_no_orders
from spinlab.comparison.look import Looked, background_limits, look
from spinlab.comparison.measure import Found, changes, claim
from spinlab.comparison.names import known_lines
from spinlab.comparison.outcome import outcome, overall, scope
from spinlab.comparison.shaking import MOVED_DB, SAME_PLACE_DB, amplitude_changes, bounds
from spinlab.comparison.spectra import LEAST_TURNS
from spinlab.comparison.statistics import choose
from spinlab.comparison.table import speed_changes, stage_rows
from spinlab.comparison.value import (
    AmplitudeChange,
    Comparison,
    Limit,
    LineChange,
    Pair,
    SharedSpeed,
    SpeedChange,
    StageRow,
    Subject,
    worst,
)
from spinlab.comparison.words import statements
from spinlab.errors import InputError
from spinlab.finding import State
from spinlab.phrase import join, say, sentence

_SECTION = say("Comparing")
# A stretch this long may still be joined with others of its speed.
_SHORTEST_TURNS = LEAST_TURNS / 2


def compare(
    analyses: Sequence[Analysis],
    *,
    same_place: bool = True,
    progress: Callable[[str, float], None] | None = None,
) -> Comparison:
    """Hold recordings against the first of them, speed by speed instead of time by time.

    Args:
        analyses: two or more finished analyses, best made with the same profile; the first is
            what the others are held against.
        same_place: whether the phone lay in the same place each time, within a hand's breadth;
            False widens every interval by what another place does.
        progress: told the step and the share of it that is done.

    Returns:
        What changed, each change with its interval, and what could not be compared and why.

    Raises:
        InputError: fewer than two analyses.
    """
    if len(analyses) < 2:
        raise InputError(say("A comparison needs two recordings or more: name another one."))
    bins = speed_bins(
        [one.track for one in analyses],
        gaps=[gaps(one) for one in analyses],
        least_turns=_SHORTEST_TURNS,
    )
    rows = stage_rows(analyses)
    subjects = tuple(_subject(one) for one in analyses)
    pairs = []
    for number in range(1, len(analyses)):
        if progress is not None:
            progress(_SECTION, (number - 1) / (len(analyses) - 1))
        pairs.append(_pair(analyses, bins, rows, number, same_place=same_place))
    machine = next((one.machine.name for one in analyses if one.machine is not None), "")
    return Comparison(
        subjects=subjects,
        machine=machine,
        speeds=tuple(SharedSpeed(speed_rpm=b.speed_rpm, turns=b.turns) for b in bins),
        stages=rows,
        pairs=tuple(pairs),
        same_place=same_place,
        state=worst([pair.state for pair in pairs]),
        sentence=overall(pairs, subjects),
    )


def _subject(analysis: Analysis) -> Subject:
    return Subject(
        file=analysis.recording.source.file,
        sha256=analysis.recording.source.sha256,
        kind=analysis.recording.kind,
        duration_s=analysis.recording.duration_s,
        state=analysis.verdict.state,
        sentence=analysis.verdict.sentence,
        top_speed_rpm=analysis.stages.top_speed_rpm,
        top_speed_standard_uncertainty_rpm=analysis.stages.top_speed_standard_uncertainty_rpm,
    )


def _pair(
    analyses: Sequence[Analysis],
    bins: Sequence[SpeedBin],
    rows: Sequence[StageRow],
    number: int,
    *,
    same_place: bool,
) -> Pair:
    first, second = analyses[0], analyses[number]
    names = (say("the first recording"), _which(number, len(analyses)))
    told = [*limits(first, second, names)]
    looked: tuple[Looked, ...] = ()
    amplitudes: list[AmplitudeChange] = []
    blocked = [
        why
        for one, name in zip((first, second), names, strict=True)
        if (why := why_no_orders(one, name))
    ]
    same_kind = first.recording.kind == second.recording.kind
    if blocked:
        told.append(Limit(what=say("lines and amplitudes"), reason=sentence(join("; ", blocked))))
    elif same_kind and first.recording.kind == "sound":
        looked, missing = look(first, second, bins, (0, number), same_place=same_place)
        told += [*missing, *background_limits(looked, names)]
    elif same_kind:
        amplitudes = amplitude_changes(first, second, take_db=_take_db(same_place))
        looked, missing = look(first, second, bins, (0, number), same_place=same_place)
        told += [*missing, *_unread(amplitudes)]
    tested = _Tested(
        looked=looked,
        amplitudes=tuple(amplitudes),
        speeds=tuple(speed_changes(rows, 0, number)),
        same_place=same_place,
    )
    return _claimed(tested, first, second, rows, number, told)


def _take_db(same_place: bool) -> float:
    return SAME_PLACE_DB if same_place else MOVED_DB


@dataclass(frozen=True, kw_only=True, eq=False)
class _Tested:
    """Everything that is tested in one pair."""

    looked: tuple[Looked, ...]
    amplitudes: tuple[AmplitudeChange, ...]
    speeds: tuple[SpeedChange, ...]
    same_place: bool


def _which(number: int, count: int) -> str:
    if count == 2:
        return say("the second recording")
    return say("recording {number}", number=number + 1)


def _unread(amplitudes: Sequence[AmplitudeChange]) -> list[Limit]:
    if not amplitudes:
        return [
            Limit(
                what=say("the shaking"),
                reason=say("Neither order of the shaking could be read on any plateau."),
                remedy=say("Log at 100 Hz or more, the phone fixed flat on the machine."),
            )
        ]
    return [
        Limit(
            what=say("order {order:g} at {speed:.0f} rpm", order=one.order, speed=one.speed_rpm),
            reason=sentence(one.reason),
        )
        for one in amplitudes
        if one.reason
    ]


def _claimed(
    tests: _Tested,
    first: Analysis,
    second: Analysis,
    rows: Sequence[StageRow],
    number: int,
    told: Sequence[Limit],
) -> Pair:
    """What may be stated about a pair, and what it was drawn from."""
    found = changes(tests.looked, known_lines(second.machine or first.machine, first, second))
    judged = _judged(tests, found)
    lines, shaking, run = judged.lines, judged.amplitudes, judged.speeds
    sentences = statements(lines, shaking, run, rows, (0, number))
    state: State = "attention" if sentences else "clear" if judged.count else "not measurable"
    leading = sentences[0].sentence if sentences else ""
    return Pair(
        first=0,
        second=number,
        state=state,
        sentence=outcome(state, len(sentences), leading, scope(lines, shaking, run)),
        statements=sentences,
        lines=lines,
        amplitudes=shaking,
        speeds=run,
        tests=judged.count,
        limits=tuple(told),
        curves=tuple(one.curves for one in tests.looked),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Judged:
    """Everything that was measured, with what may be claimed of it, and how many tests it took."""

    lines: tuple[LineChange, ...]
    amplitudes: tuple[AmplitudeChange, ...]
    speeds: tuple[SpeedChange, ...]
    count: int


def _judged(tests: _Tested, found: Sequence[Found]) -> _Judged:
    """All tests of a pair corrected together."""
    chosen = choose(
        [
            *(one.line.probability for one in found if one.tested),
            *(one.probability for one in tests.amplitudes if one.probability is not None),
            *(one.probability for one in tests.speeds),
        ]
    )
    verdicts = iter(zip(chosen.adjusted.tolist(), chosen.claimed.tolist(), strict=True))
    lines = tuple(
        claim(one, *next(verdicts), confidence=chosen.confidence) if one.tested else one.line
        for one in found
    )
    take_db = _take_db(tests.same_place)
    shaking = tuple(
        one
        if one.probability is None
        else _shaken(one, *next(verdicts), chosen.confidence, take_db)
        for one in tests.amplitudes
    )
    run = tuple(
        replace(one, adjusted=p, claimed=yes)
        for one, (p, yes) in zip(tests.speeds, verdicts, strict=True)
    )
    return _Judged(lines=lines, amplitudes=shaking, speeds=run, count=len(chosen.adjusted))


def _shaken(
    one: AmplitudeChange, adjusted: float, claimed: bool, confidence: float, take_db: float
) -> AmplitudeChange:
    if not claimed or one.first_m_s2 is None or one.second_m_s2 is None:
        return replace(one, adjusted=adjusted)
    low, high, change = bounds(
        one.first_m_s2, one.second_m_s2, confidence=confidence, take_db=take_db
    )
    return replace(
        one,
        adjusted=adjusted,
        claimed=True,
        change_db=change,
        low_db=low,
        high_db=high,
        confidence=confidence,
    )
