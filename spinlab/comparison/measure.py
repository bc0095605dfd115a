"""Every place of the order spectra of two recordings measured, and the claims among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spinlab.comparison.lines import levels_at, participation, place_at, places, pool
from spinlab.comparison.look import Looked
from spinlab.comparison.names import Named, name_of
from spinlab.comparison.statistics import (
    ERROR_RATE,
    FINE,
    PLAIN,
    Interval,
    Level,
    line_change,
    probability,
    stands_out,
)
from spinlab.comparison.value import AtSpeed, LineChange

# The least change worth a word: what a phone's own place does to a level (common practice, no
# published source).
LEAST_CHANGE_DB = 1.0
# Of a log, the first two orders are compared as amplitudes, not as levels over the floor.
_AMPLITUDE_ORDERS = 2.5
# Of the sound itself a line must stand 6 dB above its surroundings: a room's own colouring stands
# out by nearly as much (Schroeder, see `statistics.room_db`).
LEAST_SIGNAL_RATIO = 4.0
# A speed at which the background leaves a line's own level less sure than this says nothing.
_LEAST_SURE_DB = 6.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """A place with what was measured there, not yet claimed or not.

    `tested` says whether the two recordings together hold a line there, or one was asked for.
    """

    line: LineChange
    looked: Looked
    place: slice
    level: Pooled
    tested: bool


def changes(looked: Sequence[Looked], names: Sequence[Named]) -> list[Found]:
    """Every place of every spectrum, with a plain interval; nothing is claimed yet."""
    return [
        _change(one, place, names)
        for one in looked
        for place in _all_places(one, names)
        if levels_at(one.both, place)
    ]


def _all_places(one: Looked, names: Sequence[Named]) -> list[slice]:
    """The places found, and for chosen names that none of them covers, one more."""
    found = places(one.both)
    for name in names:
        if not name.chosen:
            continue
        centres = [0.5 * (p.start + p.stop - 1) * float(one.both.order[1]) for p in found]
        if not any(name.low <= centre <= name.high for centre in centres):
            extra = place_at(one.both, name.order)
            found += [] if extra is None else [extra]
    return found


@dataclass(frozen=True, kw_only=True)
class Pooled:
    """Level of a place in either recording, all shared speeds together.

    Attributes:
        before, after: as read.
        like_before, like_after: the same, the line of the clearer recording weakened to what it
            would have been in the other one's background.
        take_db: how far an unchanged line differs from take to take.
        noise_too: as in `statistics.probability`.
    """

    before: Level
    after: Level
    like_before: Level
    like_after: Level
    take_db: float
    noise_too: bool

    @property
    def probability(self) -> float:
        """Of a difference this large where nothing changed."""
        return probability(
            self.like_before, self.like_after, take_db=self.take_db, noise_too=self.noise_too
        )

    def change(self, confidence: float, quantiles: tuple[int, int] = FINE) -> Interval:
        """Change of the line with its interval."""
        return line_change(
            self.like_before,
            self.like_after,
            take_db=self.take_db,
            confidence=confidence,
            quantiles=quantiles,
        )


def pooled(one: Looked, rows: Sequence[tuple[int, Level, Level]], place: slice) -> Pooled:
    """The levels of `levels_at`, or some of them, as one.

    Speeds at which the background may be nearly everything are left out, if any others remain.
    """
    sure = [row for row in rows if _diluted(one, row[0], place)[2] <= _LEAST_SURE_DB]
    rows = sure or rows
    weights = [float(one.both.weight[number, place].mean()) for number, _, _ in rows]
    before, after = [a for _, a, _ in rows], [b for _, _, b in rows]
    alike = [_alike(a, b, *_diluted(one, number, place)) for number, a, b in rows]
    like_before, like_after = [a for a, _, _ in alike], [b for _, b, _ in alike]
    independent = min(participation(before, weights), participation(after, weights))
    # What the background does, it does at every speed alike: it does not average out.
    unknown = float(np.average([u for _, _, u in alike], weights=weights))
    return Pooled(
        before=pool(before, weights),
        after=pool(after, weights),
        like_before=pool(like_before, weights),
        like_after=pool(like_after, weights),
        take_db=float(np.hypot(one.take_db(independent), unknown / np.sqrt(2.0))),
        noise_too=one.measure == "signal",
    )


def _diluted(one: Looked, number: int, place: slice) -> tuple[float, float, float]:
    """The machine's share in either recording at a place and speed, and its uncertainty in dB."""
    if one.band is not None:
        low_hz, high_hz = one.band.low_hz, one.band.high_hz
    else:
        turning = one.speeds_rpm[number] / 60.0
        low_hz, high_hz = one.both.order[place][[0, -1]] * turning
    (a, u), (b, v) = (share.machine(low_hz, high_hz) for share in one.shares[number])
    # Of the signal itself the floor is lifted: 10 lg where an envelope's line loses 20 lg.
    weight = 1.0 if one.band is not None else 0.5
    return a, b, weight * float(np.hypot(u, v))


def _alike(
    before: Level, after: Level, clear_before: float, clear_after: float, unknown_db: float
) -> tuple[Level, Level, float]:
    """Both levels as they would be in the background of the more diluted of the two."""
    least = min(clear_before, clear_after)
    return _weaker(before, least / clear_before), _weaker(after, least / clear_after), unknown_db


def _weaker(level: Level, share: float) -> Level:
    if level.ratio <= 1.0:
        return level
    return replace(level, ratio=1.0 + (level.ratio - 1.0) * share**2)


def _change(one: Looked, place: slice, names: Sequence[Named]) -> Found:
    rows = levels_at(one.both, place)
    level = pooled(one, rows, place)
    strength = one.both.pooled(False)[place] + one.both.pooled(True)[place]
    order = float(np.sum(one.both.order[place] * strength) / np.sum(strength))
    name = name_of(order, names)
    change = level.change(1.0 - ERROR_RATE, PLAIN)
    line = LineChange(
        measure=one.measure,
        band=one.band,
        order=order,
        label=name.label if name else "",
        family=name.family if name else "",
        first_db=level.before.db,
        second_db=level.after.db,
        change_db=change.change_db,
        low_db=change.low_db,
        high_db=change.high_db,
        confidence=1.0 - ERROR_RATE,
        probability=level.probability,
        adjusted=1.0,
        claimed=False,
        named=bool(name and name.chosen),
    )
    least = 1.0 if one.measure == "envelope" else LEAST_SIGNAL_RATIO
    stands = stands_out(level.before, level.after, least=least) or line.named
    absolute = one.measure == "shaking" and order < _AMPLITUDE_ORDERS
    return Found(line=line, looked=one, place=place, level=level, tested=stands and not absolute)


def claim(found: Found, adjusted: float, claimed: bool, *, confidence: float) -> LineChange:
    """The change once all tests are known; a claimed one with the wider interval and by speed.

    A difference that is no chance but may be less than `LEAST_CHANGE_DB` is not claimed: no two
    rooms are as alike as that.
    """
    if not claimed:
        speeds = at_speeds(found) if found.line.named else ()
        return replace(found.line, adjusted=adjusted, at_speeds=speeds)
    change = found.level.change(confidence)
    large = (change.low_db is not None and change.low_db >= LEAST_CHANGE_DB) or (
        change.high_db is not None and change.high_db <= -LEAST_CHANGE_DB
    )
    return replace(
        found.line,
        change_db=change.change_db,
        low_db=change.low_db,
        high_db=change.high_db,
        confidence=confidence,
        adjusted=adjusted,
        claimed=large,
        at_speeds=at_speeds(found),
    )


def at_speeds(found: Found) -> tuple[AtSpeed, ...]:
    """One place speed by speed, each with its 95 % interval."""
    shown = []
    for row in levels_at(found.looked.both, found.place):
        level = pooled(found.looked, [row], found.place)
        change = level.change(1.0 - ERROR_RATE, PLAIN)
        shown.append(
            AtSpeed(
                speed_rpm=found.looked.speeds_rpm[row[0]],
                first_db=level.before.db,
                second_db=level.after.db,
                change_db=change.change_db,
                low_db=change.low_db,
                high_db=change.high_db,
            )
        )
    return tuple(shown)
