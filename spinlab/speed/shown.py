"""Shown: which runs of a path the drum's own evidence supports well enough to be shown."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.drumlock import LOCK_HOP_S, MULTIPLES, Lock
from spinlab.speed.frames import HOP_S
from spinlab.speed.refine import Refined
from spinlab.speed.runs import CLOSE_GAP_S, LEAST_SPREAD, between, end_lines, longest_moving

# Nats of the drum's own evidence that show a run, and one that never moves.
LEAST_RUN_SUPPORT = 10.0
LEAST_STILL_SUPPORT = 25.0
# Share of a run's frames that its lines carry for it to be mostly theirs, or at least partly; share
# of the whole path for them to be expected everywhere.
MOSTLY = 0.8
PARTLY = 0.4
# Nats of a beat at a run's own speed that make up for lines that are expected and absent.
BEATS_ALONE = 25.0
LEAST_BY_LINES = 0.4
# Nats by which a multiple of a run's speed must explain the beats better to condemn it, and the
# share of the run's other evidence that must be outweighed as well.
MULTIPLE_NATS = 8.0
MULTIPLE_SHARE = 0.2
# Nats of beats at a speed itself from which those at twice and three times it are its own
# harmonics: an oval drum or three lifters beat so, and where a run stood at a fraction of the
# drum's speed nothing would beat at that fraction.
OWN_BEATS = 16.0
MOST_OF_IT = 0.5
# Share of a speed by which another counts as faster.
FASTER = 1.1
# Frames are denser than the windows that evidence is counted in.
WINDOWS_PER_FRAME = HOP_S / LOCK_HOP_S
# No drum of this kind changes faster (common practice, no published source).
FASTEST_RPM_PER_S = 250.0
FASTEST_FALL_RPM_PER_S = 120.0
# A ramp goes on over a pause of so many seconds: ln(speed) per s that is one, and the share of the
# speed that it may seem to lose.
SHORT_PAUSE_S = 8.0
LEAST_RISE = 0.03
LARGEST_LOSS = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class Own:
    """The drum's own evidence in each frame of a path, nats.

    Attributes:
        support: shape (frames,), of beats and whole orders over corrections nearby.
        beating: shape (frames,), the part of it that beats gave.
        kin: shape (frames, multiples), of a beat at each of `drumlock.MULTIPLES` of the speed over
            any other speed; no multiples where there are no beats.
        room: shape (frames,), how often the speed fits into the fastest that was looked for.
    """

    support: NDArray[np.float64]
    beating: NDArray[np.float64]
    kin: NDArray[np.float64]
    room: NDArray[np.float64]

    def part(self, inside: NDArray[np.bool_] | NDArray[np.int64]) -> Own:
        """The evidence of some frames."""
        return Own(
            support=self.support[inside],
            beating=self.beating[inside],
            kin=self.kin[inside],
            room=self.room[inside],
        )


def own_evidence(lock: Lock, time_s: NDArray[np.float64]) -> Own:
    """The lock's evidence at the frames of a path."""
    support = np.interp(time_s, lock.time_s, lock.support)
    share = np.interp(time_s, lock.time_s, lock.from_beats)
    nearest = np.clip(np.searchsorted(lock.time_s, time_s), 0, len(lock.time_s) - 1)
    return Own(
        support=support,
        beating=support * share if share.any() else support,
        kin=lock.kin[nearest],
        room=lock.room[nearest],
    )


# Without a belt the motor's lines are the drum's own turns.  Overlapping frames hear the same:
# share of their nats that counts, and the most in one frame.
MOTOR_SHARE = 0.4
MOTOR_LIMIT = 8.0


def with_motor(own: Own, refined: Refined, run: NDArray[np.int64]) -> Own:
    """The drum's own evidence where the motor sits on it: with the lines of the longest run-up.

    What stands apart from that may follow a pump or a hum, and gains nothing.

    Args:
        own: what beats and whole orders say.
        refined: the course and its lines.
        run: shape (frames,), runs that go on from one another share a number.
    """
    gain = np.minimum(MOTOR_SHARE * np.maximum(refined.gain, 0.0), MOTOR_LIMIT) * refined.carried
    return replace(own, support=own.support + gain * longest_moving(refined, run, gain))


def supported(
    refined: Refined, run: NDArray[np.int64], own: Own, factor: float
) -> NDArray[np.bool_]:
    """Frames in unbroken runs that the drum's own evidence supports.

    A path may leave the drum for a foreign line; it can do so only by a break.  A run between
    breaks is shown if beats or drum orders support it, and if the drum could have got there from
    the better supported run beside it.  A run that never moves must have more support, and from
    beats, for hum stands at whole multiples too, unless it goes on from a run that moves; before
    the first that moves it must not be faster.
    """
    shown, moving = _weighed(refined, run, own)
    speed_rpm = 60.0 * factor * np.exp(refined.log_hz)
    for number in [n for n in shown if moving and n < moving[0]]:
        # a test steps upwards: what stands faster before anything moves is a hum or a pump
        start_rpm = float(speed_rpm[run == moving[0]][0])
        if float(np.median(speed_rpm[run == number])) > FASTER * start_rpm:
            del shown[number]
    for number in sorted(shown, key=lambda n: shown[n]):
        better = [n for n in shown if shown[n] > shown[number]]
        if any(_unreachable(refined.time_s, speed_rpm, run, number, n) for n in better):
            del shown[number]
    return np.isin(run, list(shown))


def _weighed(
    refined: Refined, run: NDArray[np.int64], own: Own
) -> tuple[dict[int, float], list[int]]:
    """Runs with evidence enough, each with its nats, and those of them that move, in order."""
    shown: dict[int, float] = {}
    waiting: dict[int, float] = {}
    moving: list[int] = []
    by_lines = float(refined.carried.mean()) > LEAST_BY_LINES
    for number in np.unique(run):
        inside = run == number
        still = float(np.ptp(refined.log_hz[inside])) < LEAST_SPREAD / 4
        lines = float(refined.carried[inside].mean())
        part = own.part(inside)
        weight = _weight(part, still=still, share=float(inside.mean()))
        if still and by_lines and lines < PARTLY and _at_speed(part) < BEATS_ALONE:
            continue
        if weight is not None:
            shown[int(number)] = weight
            moving += [] if still else [int(number)]
        elif still and lines > MOSTLY:
            waiting[int(number)] = nats_for(part.support)
    for number, total in waiting.items():
        beside = any(_goes_on(refined, run, number, other) for other in shown)
        if total > LEAST_STILL_SUPPORT and beside:
            shown[number] = total
    return shown, moving


def nats(own: Own) -> float:
    """All the drum's own evidence of some frames, which are denser than its windows."""
    return WINDOWS_PER_FRAME * float(own.support.sum()) + _at_speed(own)


def _at_speed(own: Own) -> float:
    """Nats of a beat at the speed itself over any other speed."""
    return float(beats_of(own)[0]) if own.kin.shape[1] else 0.0


def beats_of(own: Own) -> NDArray[np.float64]:
    """Nats of beats at each of `drumlock.MULTIPLES` of the speed in some frames."""
    total: NDArray[np.float64] = WINDOWS_PER_FRAME * own.kin.sum(axis=0)
    return total


def foreign_beats(own: Own, *, share: float) -> NDArray[np.float64]:
    """The same, 0 at the speed itself and where they are harmonics of it.

    They are if the speed itself beats, or if the drum would turn faster there than it can; but only
    of a stretch that is most of the path, for whose beats the scale was chosen.

    Args:
        own: evidence of a stretch.
        share: its share of the path.
    """
    kin, multiples = beats_of(own), np.array(MULTIPLES)
    if not len(kin):
        return np.zeros(1)
    whole = multiples == np.round(multiples)
    harmonic = whole & (kin[0] > OWN_BEATS) | (multiples > own.room.min())
    return np.where((multiples == 1) | harmonic & (share > MOST_OF_IT), 0.0, kin)


def _weight(own: Own, *, still: bool, share: float) -> float | None:
    """Nats that show a run; None if they are too few, or if the beats want another speed."""
    near, at_speed = nats_for(own.beating if still else own.support), _at_speed(own)
    other = float(foreign_beats(own, share=share).max())
    if other > max(at_speed, 0.0) + MULTIPLE_NATS + MULTIPLE_SHARE * near:
        return None
    least = LEAST_STILL_SUPPORT if still and near > at_speed else LEAST_RUN_SUPPORT
    return near + at_speed if near + at_speed > least else None


def nats_for(evidence: NDArray[np.float64]) -> float:
    """Evidence of a run, what speaks against it left out."""
    return WINDOWS_PER_FRAME * float(np.maximum(evidence, 0).sum())


def _goes_on(refined: Refined, run: NDArray[np.int64], one: int, other: int) -> bool:
    """Whether two runs follow each other closely and a drum gets from one to the other."""
    before, after = (np.flatnonzero(run == n) for n in sorted((one, other)))
    gap_s, goes_on = between(refined, before, after)
    return gap_s <= CLOSE_GAP_S and goes_on


def _unreachable(
    time_s: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    run: NDArray[np.int64],
    one: int,
    other: int,
) -> bool:
    """Whether the drum could not have changed between two runs in the time between them."""
    before, after = (np.flatnonzero(run == n) for n in (min(one, other), max(one, other)))
    first, last = before[-1], after[0]
    pause = float(time_s[last] - time_s[first])
    change = float(speed_rpm[last] - speed_rpm[first])
    if not -FASTEST_FALL_RPM_PER_S * pause <= change <= FASTEST_RPM_PER_S * pause:
        return True
    lines = end_lines(time_s, np.log(speed_rpm), before, after)
    if pause > SHORT_PAUSE_S or lines is None:
        return False
    rising = all(slope > LEAST_RISE for slope, _ in lines)
    # a drum that gains speed before and after a short pause has not lost much in it
    return rising and change < -LARGEST_LOSS * float(speed_rpm[first])
