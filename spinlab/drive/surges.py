"""Surges: the drum driven up and let go at once, without a plateau.

A controller that has lost its motor's speed gives full torque until it notices: the drum runs up
faster than any ramp before, past speeds it was to hold, and is cut off at the steepest moment.  A
ramp given up for imbalance is cut off too, but at the ramp's own slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import SpeedTrack

SLOWEST_PEAK_RPM = 130.0
# The apex is sharp: up to it the speed rises, from it on it falls, and goes on falling.
_RISE_RPM_PER_S = 30.0
_FALL_RPM_PER_S = 5.0
_FALL_S = (0.2, 1.2, 2.2)  # after the apex
_FALLS_TO = 0.7  # of the peak, before it rises again
_SLOPE_S, _ROUNDED_S = 0.5, 0.2
_START_SHARE = 0.2  # of the peak: where the rise is said to begin
_OWN_S = 3.0  # before an apex: not counted among the usual ramps
_USUAL_S = 1.5  # of rising frames, for the usual ramp to be known
_USUAL_QUANTILE = 0.95
_RISING_RPM_PER_S = 10.0


@dataclass(frozen=True, kw_only=True)
class Surge:
    """One rise that was cut off.

    Attributes:
        time_s: of the apex.
        peak_rpm: the drum's speed there.
        rise_rpm_per_s: slope just before it.
        rise_s: since a fifth of the peak, or since the speed was first known.
        low_rpm: the least speed known within three seconds before.
    """

    time_s: float
    peak_rpm: float
    rise_rpm_per_s: float
    rise_s: float
    low_rpm: float


@dataclass(frozen=True, kw_only=True)
class Surges:
    """All of a run.

    Attributes:
        surges: in order of time.
        usual_rise_rpm_per_s: the steep end of the other ramps, None where there are none.
    """

    surges: tuple[Surge, ...] = ()
    usual_rise_rpm_per_s: float | None = None


def surges(track: SpeedTrack) -> Surges:
    """Every apex of the track from which the drum is let go at once."""
    if len(track.time_s) < 5:
        return Surges()
    time, speed = track.time_s, np.where(track.known, track.speed_rpm, 0.0)
    apexes = [k for k in _peaks(speed) if _sharp(time, speed, k)]
    found = tuple(_surge(time, speed, k) for k in apexes)
    return Surges(surges=found, usual_rise_rpm_per_s=_usual(time, speed, apexes))


def _peaks(speed: NDArray[np.float64]) -> list[int]:
    """Maxima from which the speed falls to `_FALLS_TO` before it is exceeded."""
    peaks: list[int] = []
    best = 0
    for k, value in enumerate(speed):
        if value > speed[best]:
            best = k
        elif value < _FALLS_TO * speed[best]:
            if speed[best] >= SLOWEST_PEAK_RPM:
                peaks.append(best)
            best = k
        elif peaks and best != k and speed[best] < speed[k]:
            best = k
    return peaks


def _sharp(time: NDArray[np.float64], speed: NDArray[np.float64], apex: int) -> bool:
    """Whether the rise goes on up to the apex, and the fall begins there."""
    when = float(time[apex])
    rise = _rise(time, speed, when)
    after = np.interp(when + np.array(_FALL_S), time, speed)
    falls = np.all(np.diff(after) < -_FALL_RPM_PER_S * np.diff(_FALL_S))
    return bool(falls and rise is not None and rise > _RISE_RPM_PER_S)


def _rise(time: NDArray[np.float64], speed: NDArray[np.float64], when_s: float) -> float | None:
    """Slope just before an apex, which is rounded off by a track's frames; None if unknown."""
    before = (time > when_s - _ROUNDED_S - _SLOPE_S - 1e-6) & (time < when_s - _ROUNDED_S + 1e-6)
    known = np.flatnonzero(before & (speed > 0.0))
    if len(known) < 3:
        return None
    first, last = known[0], known[-1]
    return float((speed[last] - speed[first]) / (time[last] - time[first]))


def _surge(time: NDArray[np.float64], speed: NDArray[np.float64], apex: int) -> Surge:
    when, top = float(time[apex]), float(speed[apex])
    low = np.flatnonzero(speed[:apex] < _START_SHARE * top)
    start = float(time[low[-1]]) if len(low) else float(time[0])
    return Surge(
        time_s=when,
        peak_rpm=top,
        rise_rpm_per_s=_rise(time, speed, when) or 0.0,
        rise_s=when - start,
        low_rpm=float(np.min(speed[(time > when - _OWN_S) & (time <= when)])),
    )


def _usual(
    time: NDArray[np.float64], speed: NDArray[np.float64], apexes: list[int]
) -> float | None:
    """The steep end of the ramps that lead to no apex within three seconds."""
    if len(time) < 3:
        return None
    step = float(np.median(np.diff(time)))
    half = 0.5 * _SLOPE_S
    ahead, behind = np.interp(time + half, time, speed), np.interp(time - half, time, speed)
    slope = (ahead - behind) / _SLOPE_S
    known = (speed > 0.0).astype(float)
    around = np.interp(time - half, time, known) * known * np.interp(time + half, time, known)
    rising = (slope > _RISING_RPM_PER_S) & (around == 1.0)
    for apex in apexes:
        rising &= ~((time > time[apex] - _OWN_S) & (time < time[apex] + _SLOPE_S))
    if rising.sum() * step < _USUAL_S:
        return None
    return float(np.quantile(slope[rising], _USUAL_QUANTILE))
