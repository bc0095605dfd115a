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
from spinlab.phrase import Phrase, join, many, say

# An interval whose halves differ by less than this share of the longer one is told as "±".
_EVEN = 0.35
_MINUS = "−"


def number(value: float, decimals: int = 0) -> Phrase:
    """A number with a true minus sign, and with the decimal mark of whatever language is spoken.

    >>> number(-12.34, 1)
    '−12.3'
    """
    sign = _MINUS if value < 0 else ""
    return Phrase(f"{sign}{{value:.{decimals}f}}", {"value": abs(value)})


def amount(change_db: float | None, low_db: float | None, high_db: float | None) -> Phrase:
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
    way = way_of(low_db, high_db)
    if way > 0:
        return say("up by {size}", size=_size(change_db, low_db or 0.0, high_db))
    if way < 0:
        mirrored = (_mirror(change_db), _mirror(high_db), _mirror(low_db))
        return say("down by {size}", size=_size(mirrored[0], mirrored[1] or 0.0, mirrored[2]))
    return _undecided(low_db, high_db)


def way_of(low_db: float | None, high_db: float | None) -> int:
    """-1 for down, 1 for up, 0 where an interval allows both.

    >>> way_of(2.0, None), way_of(-3.0, 1.0)
    (1, 0)
    """
    if low_db is not None and low_db > 0:
        return 1
    return -1 if high_db is not None and high_db < 0 else 0


def _mirror(value: float | None) -> float | None:
    return None if value is None else -value


def _size(change_db: float | None, least_db: float, most_db: float | None) -> Phrase:
    places = 0 if least_db >= 1 else 1
    if most_db is None or change_db is None:
        least = number(least_db, places)
        if change_db is None:
            return say("at least {least} dB", least=least)
        return say(
            "about {change} dB, by at least {least} dB", change=number(change_db), least=least
        )
    halves = (change_db - least_db, most_db - change_db)
    if abs(halves[1] - halves[0]) <= _EVEN * max(halves):
        places = 0 if max(halves) >= 0.95 else 1
        return join(" ", [number(change_db, places), "±", number(max(halves), places), "dB"])
    return say(
        "{change} dB ({least} to {most} dB)",
        change=number(change_db),
        least=number(least_db, places),
        most=number(most_db),
    )


def _undecided(low_db: float | None, high_db: float | None) -> Phrase:
    if low_db is None and high_db is None:
        return say("not told apart: too weak in both")
    if low_db is None:
        return say("not up by more than {most} dB", most=number(high_db or 0.0))
    if high_db is None:
        return say("not down by more than {most} dB", most=number(-low_db))
    return say("between {down} dB down and {up} dB up", down=number(-low_db), up=number(high_db))


def place(line: LineChange) -> Phrase:
    """What makes a line and where it stands, in words."""
    parts = {"order": number(line.order, 2), "family": capital(line.family)}
    if line.measure == "shaking":
        return say(
            "{family}: its line at order {order}, felt in the shaking,"
            if line.family
            else "A line at order {order} of unknown origin, felt in the shaking,",
            **parts,
        )
    if line.band is None:
        return say(
            "{family}: its line at order {order}, heard in the sound itself,"
            if line.family
            else "A line at order {order} of unknown origin, heard in the sound itself,",
            **parts,
        )
    return say(
        "{family}: its line at order {order}, heard in the envelope of {band},"
        if line.family
        else "A line at order {order} of unknown origin, heard in the envelope of {band},",
        band=band_words(line.band),
        **parts,
    )


def capital(phrase: str) -> Phrase:
    """A phrase that begins a sentence without ending it.

    >>> capital(say("rear drum bearing"))
    'Rear drum bearing'
    """
    return Phrase("{words}", {"words": phrase}, shape="begin")


def band_words(band: Band) -> Phrase:
    """A band in kHz.

    >>> band_words(Band(low_hz=500.0, high_hz=7200.0))
    '0.5–7.2 kHz'
    """
    edges = [number(edge_hz / 1000, 1) for edge_hz in (band.low_hz, band.high_hz)]
    return Phrase("{low}–{high} kHz", {"low": edges[0], "high": edges[1]})


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
        told = amount(best.change_db, best.low_db, best.high_db)
        if len(group) == 1:
            sentence = say("{place} is {amount}.", place=place(best), amount=told)
        else:
            sentence = many(
                "{place} is {amount}; one more of its lines moved the same way.",
                "{place} is {amount}; {count} more of its lines moved the same way.",
                count=len(group) - 1,
                place=place(best),
                amount=told,
            )
        yield Statement(sentence=sentence, direction=way)


def _near(line: LineChange, groups: dict[tuple[str, int], list[LineChange]]) -> str:
    """The group of an unnamed line: that of another band's line at the same order."""
    for (name, _), group in groups.items():
        if not group[0].family and abs(group[0].order - line.order) <= 0.1:
            return name
    return f"order {line.order:.3f}"


def direction(line: LineChange | AmplitudeChange) -> int:
    """-1 for down, 1 for up, 0 where its interval allows both."""
    return way_of(line.low_db, line.high_db)


def _shaking(claimed: Sequence[AmplitudeChange]) -> Iterator[Statement]:
    """One sentence for each order and direction, the surest speed first."""
    groups: dict[tuple[float, int], list[AmplitudeChange]] = {}
    for change in sorted(claimed, key=lambda change: change.probability or 0.0):
        groups.setdefault((change.order, direction(change)), []).append(change)
    for (order, way), group in groups.items():
        best, others = group[0], group[1:]
        sentence = say(
            "The shaking at order {order:g} is {amount} at {speed:.0f} rpm{values}{likewise}.",
            order=order,
            amount=amount(best.change_db, best.low_db, best.high_db),
            speed=best.speed_rpm,
            values=_values(best),
            likewise=_likewise(others),
        )
        yield Statement(sentence=sentence, direction=way)


def _values(change: AmplitudeChange) -> str:
    a, b = change.first_m_s2, change.second_m_s2
    if a is None or b is None:
        return ""
    return say(" ({before:.3g} to {after:.3g} m/s²)", before=a.value, after=b.value)


def _likewise(others: Sequence[AmplitudeChange]) -> str:
    if not others:
        return ""
    speeds = join(", ", [number(change.speed_rpm) for change in others])
    return say(", and moves the same way at {speeds} rpm", speeds=speeds)


def _speed(change: SpeedChange) -> Statement:
    asked = change.expected_rpm if change.expected_rpm is not None else change.first_rpm.value
    numbers = {
        "asked": asked,
        "change": abs(change.change_rpm),
        "spread": 2 * change.standard_uncertainty_rpm,
    }
    faster = change.change_rpm > 0
    return Statement(
        sentence=say(
            "The plateau at {asked:.0f} rpm runs {change:.1f} ± {spread:.1f} rpm faster.", **numbers
        )
        if faster
        else say(
            "The plateau at {asked:.0f} rpm runs {change:.1f} ± {spread:.1f} rpm slower.", **numbers
        ),
        direction=1 if faster else -1,
    )


def _stages(rows: Sequence[StageRow], pair: tuple[int, int]) -> Iterator[Statement]:
    for row in rows:
        a, b = (row.stages[number] for number in pair)
        if row.expected_rpm is None or a is None or b is None or a.outcome == b.outcome:
            continue
        if "not measurable" in (a.outcome, b.outcome):
            continue
        yield Statement(
            sentence=say(
                "The {speed:g} rpm stage was {before} and is now {after}.",
                speed=row.expected_rpm,
                before=_PAST[a.outcome],
                after=_PAST[b.outcome],
            ),
            direction=1 if b.outcome == "reached" else -1,
        )


# Outcomes that two recordings can differ in, as they stand in a sentence.
_PAST = {
    "reached": say("reached"),
    "late": say("reached late"),
    "off speed": say("held off speed"),
    "missed": say("missed"),
    "extra": say("extra"),
}
