"""Statements of change as sentences, each with its interval."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from spinlab.comparison.value import (
    AmplitudeChange,
    LineChange,
    SpeedChange,
    StageRow,
    Statement,
)
from spinlab.envelope.kurtosis import Band

# An interval whose halves differ by less than this share of the longer one is told as "±".
_EVEN = 0.35
_MINUS = "−"


def number(value: float, decimals: int = 0) -> str:
    """A number with a true minus sign.

    >>> number(-12.34, 1)
    '−12.3'
    """
    return f"{value:.{decimals}f}".replace("-", _MINUS)


def amount(change_db: float | None, low_db: float | None, high_db: float | None) -> str:
    """A change in dB with its interval, in words.

    >>> amount(-12.0, -15.0, -9.0)
    'down by 12 ± 3 dB'
    >>> amount(None, 8.2, None)
    'up by at least 8 dB'
    >>> amount(-20.0, None, -9.0)
    'down by about 20 dB, by at least 9 dB'
    >>> amount(0.5, -2.0, 3.0)
    'between 2 dB down and 3 dB up'
    """
    if low_db is not None and low_db > 0:
        return "up by " + _size(change_db, low_db, high_db)
    if high_db is not None and high_db < 0:
        mirrored = (_mirror(change_db), _mirror(high_db), _mirror(low_db))
        return "down by " + _size(mirrored[0], mirrored[1] or 0.0, mirrored[2])
    return _undecided(low_db, high_db)


def _mirror(value: float | None) -> float | None:
    return None if value is None else -value


def _size(change_db: float | None, least_db: float, most_db: float | None) -> str:
    places = 0 if least_db >= 1 else 1
    if most_db is None or change_db is None:
        least = f"at least {number(least_db, places)} dB"
        return least if change_db is None else f"about {number(change_db)} dB, by {least}"
    halves = (change_db - least_db, most_db - change_db)
    if abs(halves[1] - halves[0]) <= _EVEN * max(halves):
        places = 0 if max(halves) >= 0.95 else 1
        return f"{number(change_db, places)} ± {number(max(halves), places)} dB"
    return f"{number(change_db)} dB ({number(least_db, places)} to {number(most_db)} dB)"


def _undecided(low_db: float | None, high_db: float | None) -> str:
    if low_db is None and high_db is None:
        return "not told apart: too weak in both"
    if low_db is None:
        return f"not up by more than {number(high_db or 0.0)} dB"
    if high_db is None:
        return f"not down by more than {number(-low_db)} dB"
    return f"between {number(-low_db)} dB down and {number(high_db)} dB up"


def place(line: LineChange) -> str:
    """What makes a line and where it stands, in words."""
    order = f"line at order {number(line.order, 2)}"
    heard = (
        "in the sound itself"
        if line.band is None
        else f"in the envelope of {band_words(line.band)}"
    )
    if not line.family:
        return f"A {order} of unknown origin, heard {heard},"
    return f"{line.family[0].upper()}{line.family[1:]}: its {order}, heard {heard},"


def band_words(band: Band) -> str:
    """A band in kHz.

    >>> band_words(Band(low_hz=500.0, high_hz=7200.0))
    '0.5–7.2 kHz'
    """
    return f"{band.low_hz / 1000:.1f}–{band.high_hz / 1000:.1f} kHz"


def statements(
    lines: Sequence[LineChange],
    amplitudes: Sequence[AmplitudeChange],
    speeds: Sequence[SpeedChange],
    rows: Sequence[StageRow],
    pair: tuple[int, int],
) -> tuple[Statement, ...]:
    """Every claimed change: lines of one origin as one sentence, the surest first."""
    return (
        *_stages(rows, pair),
        *(_speed(change) for change in speeds if change.claimed),
        *_shaking([change for change in amplitudes if change.claimed]),
        *_lines([line for line in lines if line.claimed]),
    )


def _lines(claimed: Sequence[LineChange]) -> Iterator[Statement]:
    groups: dict[tuple[str, int], list[LineChange]] = {}
    for line in sorted(claimed, key=lambda line: line.probability):
        groups.setdefault((line.family or _near(line, groups), direction(line)), []).append(line)
    # What a bearing does comes first: it is what recordings are mostly compared for.
    ordered = sorted(groups.items(), key=lambda entry: entry[1][0].family in ("", "drum", "motor"))
    for (_, way), group in ordered:
        best = group[0]
        more = len(group) - 1
        others = "" if not more else f"; {more} more of its lines moved the same way"
        told = amount(best.change_db, best.low_db, best.high_db)
        yield Statement(sentence=f"{place(best)} is {told}{others}.", direction=way)


def _near(line: LineChange, groups: dict[tuple[str, int], list[LineChange]]) -> str:
    """The group of an unnamed line: that of another band's line at the same order."""
    for (name, _), group in groups.items():
        if not group[0].family and abs(group[0].order - line.order) <= 0.1:
            return name
    return f"order {line.order:.3f}"


def direction(line: LineChange | AmplitudeChange) -> int:
    """-1 for down, 1 for up, 0 where the interval allows both."""
    if line.low_db is not None and line.low_db > 0:
        return 1
    return -1 if line.high_db is not None and line.high_db < 0 else 0


def _shaking(claimed: Sequence[AmplitudeChange]) -> Iterator[Statement]:
    """One sentence for each order and direction, the surest speed first."""
    groups: dict[tuple[float, int], list[AmplitudeChange]] = {}
    for change in sorted(claimed, key=lambda change: change.probability or 0.0):
        groups.setdefault((change.order, direction(change)), []).append(change)
    for (order, way), group in groups.items():
        best, others = group[0], group[1:]
        told = amount(best.change_db, best.low_db, best.high_db)
        a, b = best.first_m_s2, best.second_m_s2
        values = "" if a is None or b is None else f" ({a.value:.3g} to {b.value:.3g} m/s²)"
        more = ", ".join(f"{change.speed_rpm:.0f}" for change in others)
        likewise = f", and moves the same way at {more} rpm" if others else ""
        yield Statement(
            sentence=f"The shaking at order {order:g} is {told} at {best.speed_rpm:.0f} rpm"
            f"{values}{likewise}.",
            direction=way,
        )


def _speed(change: SpeedChange) -> Statement:
    way = "faster" if change.change_rpm > 0 else "slower"
    asked = change.expected_rpm if change.expected_rpm is not None else change.first_rpm.value
    return Statement(
        sentence=f"The plateau at {asked:.0f} rpm runs {abs(change.change_rpm):.1f} ± "
        f"{2 * change.standard_uncertainty_rpm:.1f} rpm {way}.",
        direction=1 if change.change_rpm > 0 else -1,
    )


def _stages(rows: Sequence[StageRow], pair: tuple[int, int]) -> Iterator[Statement]:
    for row in rows:
        a, b = (row.stages[number] for number in pair)
        if row.expected_rpm is None or a is None or b is None or a.outcome == b.outcome:
            continue
        if "not measurable" in (a.outcome, b.outcome):
            continue
        good = b.outcome == "reached"
        yield Statement(
            sentence=f"The {row.expected_rpm:g} rpm stage was {_past(a.outcome)} and is now "
            f"{_past(b.outcome)}.",
            direction=1 if good else -1,
        )


def _past(outcome: str) -> str:
    return {"late": "reached late", "off speed": "held off speed"}.get(outcome, outcome)
