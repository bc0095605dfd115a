"""What lies between and after the plateaus: spin start, ramps given up, top speed, coast-down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinlab.speed.level import runs
from spinlab.speed.track import SpeedTrack
from spinlab.stages.held import Held
from spinlab.stages.value import Retry

# A ramp is given up where the speed falls back by this much and later rises by as much again;
# slower peaks belong to tumbling and distribution.
FALLS_BACK_SHARE, FALLS_BACK_RPM = 0.25, 40.0
SLOWEST_PEAK_RPM = 130.0
# A peak this near to a held speed is that plateau's own.
PEAK_OF_PLATEAU_SHARE = 0.05
PEAK_WITHIN_S = 3.0
SURE_FRAME = 0.5
# The start of the spin counts as seen where it is known to this.
START_KNOWN_S = 1.0
# The top is a peak's, not a plateau's, where it is this much faster.
FASTER_PEAK_SHARE = 0.05


@dataclass(frozen=True, kw_only=True)
class SpinStart:
    """When the spin began; `seen` is False where it may have begun before `time_s`."""

    time_s: float
    seen: bool


@dataclass(frozen=True, kw_only=True)
class Coast:
    """The last coast-down: when and between which speeds it was followed."""

    start_s: float
    end_s: float
    from_rpm: float
    to_rpm: float
    to_standstill: bool

    @property
    def rpm_per_s(self) -> float:
        """Mean change of speed, negative."""
        return (self.to_rpm - self.from_rpm) / (self.end_s - self.start_s)


def spin_start(track: SpeedTrack) -> SpinStart | None:
    """The first frame that turns for the spin: distribution or anything faster.

    It was seen where the drum stood still, or tumbled, just before.
    """
    spinning = np.isin(track.motion, ("distribution", "ramp", "plateau", "coasting")) & track.known
    if not spinning.any():
        return None
    first = int(np.argmax(spinning))
    time_s = float(track.time_s[first])
    before = np.flatnonzero(np.isin(track.motion[:first], ("rest", "tumbling")))
    seen = len(before) > 0 and time_s - float(track.time_s[before[-1]]) < START_KNOWN_S
    return SpinStart(time_s=time_s, seen=seen)


def retries(track: SpeedTrack, held: Sequence[Held], *, last_asked: float | None) -> list[Retry]:
    """Ramps that fell back without reaching the next plateau, and were tried again.

    Args:
        track: the drum's speed.
        held: its plateaus.
        last_asked: the programme's last speed, if there is a programme: a fall from any plateau
            below it is a ramp given up, too.
    """
    found = []
    for peak, again in _peaks(track):
        top = float(track.speed_rpm[peak])
        plateau = plateau_at(held, track, peak)
        done = last_asked is not None and top >= (1.0 - PEAK_OF_PLATEAU_SHARE) * last_asked
        if again and not done and (plateau is None or last_asked is not None):
            found.append(Retry(time_s=float(track.time_s[peak]), speed_rpm=top))
    return found


def given_up_at_last(track: SpeedTrack, held: Sequence[Held]) -> Retry | None:
    """The last peak, where it is no plateau and the drum fell from it for good."""
    peaks = _peaks(track)
    if not peaks or peaks[-1][1] or plateau_at(held, track, peaks[-1][0]) is not None:
        return None
    peak = peaks[-1][0]
    return Retry(time_s=float(track.time_s[peak]), speed_rpm=float(track.speed_rpm[peak]))


def plateau_at(held: Sequence[Held], track: SpeedTrack, frame: int) -> Held | None:
    """The plateau that a peak belongs to: at its level, in it or just beside it."""
    time_s, speed = float(track.time_s[frame]), float(track.speed_rpm[frame])
    for plateau in held:
        near = abs(speed - plateau.speed_rpm) <= PEAK_OF_PLATEAU_SHARE * plateau.speed_rpm
        if near and plateau.start_s - PEAK_WITHIN_S <= time_s <= plateau.end_s + PEAK_WITHIN_S:
            return plateau
    return None


def _peaks(track: SpeedTrack) -> list[tuple[int, bool]]:
    """Frames from which the speed falls back, and whether it rises again by as much."""
    index = np.flatnonzero(np.isfinite(track.speed_rpm) & usable(track))
    found: list[tuple[int, bool]] = []
    high = low = -1
    for k in index:
        speed = track.speed_rpm[k]
        if high < 0 or (low < 0 and speed >= track.speed_rpm[high]):
            high = int(k)
        elif low < 0:
            if speed < track.speed_rpm[high] - _fall(track.speed_rpm[high]):
                low = int(k)
        elif speed <= track.speed_rpm[low]:
            low = int(k)
        elif speed > track.speed_rpm[low] + _fall(track.speed_rpm[low]):
            found.append((high, True))
            high, low = int(k), -1
    if low >= 0:
        found.append((high, False))
    return [(k, again) for k, again in found if track.speed_rpm[k] >= SLOWEST_PEAK_RPM]


def _fall(speed_rpm: float) -> float:
    return max(FALLS_BACK_SHARE * speed_rpm, FALLS_BACK_RPM)


def usable(track: SpeedTrack) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Frames whose speed belongs to a motion; a misread frame is "unknown" with a speed."""
    return np.asarray(np.isfinite(track.speed_rpm) & (track.motion != "unknown"))


def top_speed(track: SpeedTrack, held: Sequence[Held]) -> tuple[float, float] | None:
    """The fastest speed really reached, with its standard uncertainty.

    That of the fastest plateau, unless a surely measured peak went well beyond it.
    """
    sure = np.flatnonzero(usable(track) & track.known & (track.confidence >= SURE_FRAME))
    best = max(held, key=lambda plateau: plateau.speed_rpm, default=None)
    if len(sure):
        peak = int(sure[int(np.argmax(track.speed_rpm[sure]))])
        speed = float(track.speed_rpm[peak])
        if best is None or speed > (1.0 + FASTER_PEAK_SHARE) * best.speed_rpm:
            return speed, float(track.standard_uncertainty_rpm[peak])
    return None if best is None else (best.speed_rpm, best.standard_uncertainty_rpm)


def coast_down(track: SpeedTrack) -> Coast | None:
    """The last coast-down, from where the drum was let go to where it stood or was lost."""
    falls = [(a, b) for a, b in runs((track.motion == "coasting") & track.known) if b - a >= 2]
    if not falls:
        return None
    first, last = falls[-1]
    for a, b in reversed(falls[:-1]):  # frames lost within one fall
        lost = track.motion[b:first] == "unknown"
        if not lost.all() or track.speed_rpm[b - 1] < track.speed_rpm[first]:
            break
        first = a
    stands = last < len(track.motion) and track.motion[last] == "rest"
    end = last if stands else last - 1
    return Coast(
        start_s=float(track.time_s[first]),
        end_s=float(track.time_s[end]),
        from_rpm=float(track.speed_rpm[first]),
        to_rpm=float(track.speed_rpm[end]),
        to_standstill=bool(stands),
    )
