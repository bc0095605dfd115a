"""Held speeds: each plateau of a track measured over its settled stretch."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.drumlock import BELT_CREEP_SIGMA
from spinlab.speed.level import NARROW_S, frame_noise, runs
from spinlab.speed.track import CLOCK_SHARE, SpeedTrack, WholePlateau

Floats = NDArray[np.float64]

# Mean confidence that a plateau needs to count as measured.
SURE_PLATEAU = 0.7
# Interruptions that leave a plateau in one piece: frames unknown, or not far off the level.
LONGEST_GAP_S = 10.0
SAME_LEVEL_SHARE = 0.012
# The settled stretch begins and ends with frames that lie as near to the level as those of its
# middle half do, or within this share or as many sigmas of noise.
SETTLED_SHARE, SETTLED_SIGMAS = 0.003, 2.5
MOST_NOISE_SHARE = 0.01
# The tracker's frames are longer than their step and smoothed along the path: readings this far
# apart count as independent.
INDEPENDENT_S = 2.4
# Share of a plateau's frames that a reading of all its samples must cover.
MOST_OF_IT = 0.7
# Frames whose scatter exceeds their stated uncertainty by this factor are taken at their scatter.
SCATTERS_MORE = 1.5
# Arrival: overshoot is looked for this long before and after the settled stretch begins.
ARRIVAL_S = (2.0, 3.0)
# A ripple's rate stands out where Fisher's test gives white noise this chance (Fisher 1929), and it
# must swing at least this often.
RATE_CHANCE = 0.01
LEAST_PERIODS = 2.0


@dataclass(frozen=True, kw_only=True)
class Held:
    """One plateau as measured.

    Attributes:
        first, last: frames of the settled stretch, `last` excluded.
        confidence: mean of its frames, 0 to 1.
        cut_before, cut_after: True where the file, or the known part of the track, begins or ends
            with it, so that it may really be longer.
        For the others see `Stage`.
    """

    first: int
    last: int
    start_s: float
    end_s: float
    speed_rpm: float
    standard_uncertainty_rpm: float
    ripple_percent: float
    ripple_standard_uncertainty_percent: float
    ripple_peak_to_peak_percent: float
    ripple_rate_hz: float | None
    overshoot_percent: float | None
    rise_rpm_per_s: float | None
    confidence: float
    cut_before: bool
    cut_after: bool

    @property
    def dwell_s(self) -> float:
        """Length of the settled stretch."""
        return self.end_s - self.start_s


def held_speeds(track: SpeedTrack, *, slow_rpm: float | None = None) -> tuple[Held, ...]:
    """Every plateau of a track, in time order.

    Args:
        track: the drum's speed.
        slow_rpm: also take stretches of distribution that are held at this speed or faster.
    """
    flat = (track.motion == "plateau") & np.isfinite(track.speed_rpm)
    if slow_rpm is not None:
        slow = (track.motion == "distribution") & (np.nan_to_num(track.speed_rpm) >= slow_rpm)
        flat |= slow
    hop_s = hop_of(track)
    found = []
    for first, last in _joined(track, flat, hop_s):
        settled = _settled(track, flat, first, last)
        if settled is not None and (settled[1] - settled[0] + 1) * hop_s >= NARROW_S:
            found.append(_measure(track, flat, *settled, hop_s, arrival=first))
    return tuple(found)


def without_doubtful(track: SpeedTrack) -> SpeedTrack:
    """The track with those plateaus unknown of which it is not sure.

    A tone that stands still beside a drum that is hardly heard looks like a plateau, but the drum's
    own evidence supports it only by chance.
    """
    speed, motion = track.speed_rpm.copy(), track.motion.copy()
    for first, last in runs(np.isin(track.motion, ("plateau", "distribution"))):
        if float(np.mean(track.confidence[first:last])) < SURE_PLATEAU:
            speed[first:last], motion[first:last] = np.nan, "unknown"
    return replace(track, speed_rpm=speed, motion=motion)


def hop_of(track: SpeedTrack) -> float:
    """Seconds from frame to frame; 0 for a track too short to tell."""
    return float(np.median(np.diff(track.time_s))) if len(track.time_s) > 1 else 0.0


def _joined(track: SpeedTrack, flat: NDArray[np.bool_], hop_s: float) -> list[tuple[int, int]]:
    """Runs of level frames, those that continue each other as one."""
    joined: list[tuple[int, int]] = []
    for first, last in runs(flat):
        if joined:
            start, end = joined[-1]
            one = float(np.nanmedian(track.speed_rpm[start:end]))
            other = float(np.nanmedian(track.speed_rpm[first:last]))
            between = track.speed_rpm[end:first]
            near = np.abs(between[np.isfinite(between)] - one) <= 3.0 * SAME_LEVEL_SHARE * one
            same = abs(other - one) <= SAME_LEVEL_SHARE * one
            if same and near.all() and (first - end) * hop_s <= LONGEST_GAP_S:
                joined[-1] = (start, last)
                continue
        joined.append((first, last))
    return joined


def _settled(
    track: SpeedTrack, flat: NDArray[np.bool_], first: int, last: int
) -> tuple[int, int] | None:
    """The stretch without arrival and departure: near the level of its own middle half."""
    index = first + np.flatnonzero(flat[first:last] & np.isfinite(track.speed_rpm[first:last]))
    if len(index) < 2:
        return None
    speed, sigma = track.speed_rpm[index], track.standard_uncertainty_rpm[index]
    quarter = len(index) // 4
    core = speed[quarter : len(index) - quarter]
    level = float(np.median(core))
    noise = min(float(np.nan_to_num(np.median(sigma))), MOST_NOISE_SHARE * level)
    band = max(SETTLED_SHARE * level, SETTLED_SIGMAS * noise)
    low = min(float(core.min()) - noise, level - band)
    high = max(float(core.max()) + noise, level + band)
    near = index[(speed >= low) & (speed <= high)]
    if len(near) < 2:
        near = index
    return int(near[0]), int(near[-1]) + 1


def _measure(
    track: SpeedTrack,
    flat: NDArray[np.bool_],
    first: int,
    last: int,
    hop_s: float,
    *,
    arrival: int,
) -> Held:
    index = first + np.flatnonzero(flat[first:last] & np.isfinite(track.speed_rpm[first:last]))
    speed = track.speed_rpm[index]
    whole = _whole(track, index)
    mean = whole.speed_rpm if whole is not None else float(np.mean(speed))
    noise = float(np.median(np.nan_to_num(track.standard_uncertainty_rpm[index])))
    ripple = float(np.std(speed))
    half = 0.5 * hop_s
    start_s, end_s = float(track.time_s[first]) - half, float(track.time_s[last - 1]) + half
    known = np.isfinite(track.speed_rpm)
    return Held(
        first=first,
        last=last,
        start_s=start_s,
        end_s=end_s,
        speed_rpm=mean,
        standard_uncertainty_rpm=_uncertainty(track, index, hop_s, whole),
        ripple_percent=100.0 * ripple / mean,
        ripple_standard_uncertainty_percent=100.0 * noise / mean,
        ripple_peak_to_peak_percent=100.0 * float(np.ptp(speed)) / mean,
        ripple_rate_hz=_rate_hz(track, index, hop_s) if ripple > noise else None,
        overshoot_percent=_overshoot_percent(track, first, mean, max(ripple, noise), hop_s),
        rise_rpm_per_s=_rise(track, arrival, mean),
        confidence=float(np.mean(track.confidence[index])),
        cut_before=not known[:first].any() or not known[max(first - 3, 0) : first].any(),
        cut_after=not known[last:].any() or not known[last : last + 3].any(),
    )


def _whole(track: SpeedTrack, index: NDArray[np.intp]) -> WholePlateau | None:
    """The reading of all samples at once that covers most of these frames."""
    for whole in track.plateaus:
        time_s = track.time_s[index]
        inside = (time_s >= whole.start_s) & (time_s <= whole.end_s)
        if float(np.mean(inside)) > MOST_OF_IT:
            return whole
    return None


def _uncertainty(
    track: SpeedTrack, index: NDArray[np.intp], hop_s: float, whole: WholePlateau | None
) -> float:
    """Standard uncertainty of the mean over frames: independent readings, and what all share.

    Frames overlap, so only `INDEPENDENT_S` apart they count anew (GUM, JCGM 100:2008, 4.2.3 with
    the effective number).  What the track says that they share, no averaging removes; where the
    motor's lines carried a frame, the belt's creep is part of that.  A reading of all samples at
    once has its own, and how much it matters which frames count: a plateau's ends still settle.
    """
    speed = float(np.mean(track.speed_rpm[index]))
    clock = CLOCK_SHARE * speed
    if whole is not None:
        settling = speed - whole.speed_rpm
        return float(np.sqrt(settling**2 + whole.standard_uncertainty_rpm**2 + clock**2))
    stated = np.nan_to_num(track.standard_uncertainty_rpm[index])
    sigma = float(np.sqrt(np.mean(stated**2)))
    scatter = float(np.median(frame_noise(track.speed_rpm)[index]))
    sigma = scatter if scatter > SCATTERS_MORE * sigma else sigma
    independent = max(1.0, len(index) * hop_s / INDEPENDENT_S)
    by_motor = float(np.mean(track.carried_by[index] == "motor orders"))
    common = max(track.shared_uncertainty, BELT_CREEP_SIGMA * by_motor) * speed
    shared = min(float(np.sqrt(np.mean(stated**2))), common)
    own = np.sqrt(max(sigma**2 - shared**2, 0.0) / independent)
    return float(np.sqrt(own**2 + shared**2 + clock**2))


def _rate_hz(track: SpeedTrack, index: NDArray[np.intp], hop_s: float) -> float | None:
    """The ripple's dominant rate, by Fisher's exact test for one periodicity in noise."""
    count = int(index[-1] - index[0]) + 1
    even = np.interp(np.arange(count), index - index[0], track.speed_rpm[index])
    line = np.polyval(np.polyfit(np.arange(count), even, 1), np.arange(count))
    power = np.abs(np.fft.rfft(even - line)) ** 2
    rates = np.fft.rfftfreq(count, hop_s)
    use = rates >= LEAST_PERIODS / (count * hop_s)
    if use.sum() < 4:
        return None
    power, rates = power[use], rates[use]
    share = float(power.max() / power.sum())
    chance = len(power) * (1.0 - share) ** (len(power) - 1)  # first term of Fisher's series
    return float(rates[int(np.argmax(power))]) if chance < RATE_CHANCE else None


def _overshoot_percent(
    track: SpeedTrack, first: int, mean: float, ripple: float, hop_s: float
) -> float | None:
    """How far the speed shot over its later mean on arrival; None where arrival is unknown."""
    before = max(first - round(ARRIVAL_S[0] / hop_s), 0)
    if not np.isfinite(track.speed_rpm[before:first]).any():
        return None
    arrival = track.speed_rpm[before : first + round(ARRIVAL_S[1] / hop_s)]
    usual = track.motion[before : before + len(arrival)] != "unknown"
    over = float(np.nanmax(arrival[usual])) - mean if usual.any() else 0.0
    return 100.0 * over / mean if over > 2.0 * ripple else 0.0


def _rise(track: SpeedTrack, first: int, level: float) -> float | None:
    """Mean slope between a tenth and nine tenths of the ramp before a plateau, in rpm/s."""
    start = first
    while start > 0 and track.motion[start - 1] in ("ramp", "unknown"):
        start -= 1
    start = max(start - 1, 0)
    index = start + np.flatnonzero(np.isfinite(track.speed_rpm[start : first + 1]))
    if len(index) < 3 or (first - start) > 2 * len(index):
        return None
    lowest = int(np.argmin(track.speed_rpm[index]))
    time, speed = track.time_s[index[lowest:]], track.speed_rpm[index[lowest:]]
    height = level - float(speed[0])
    if len(speed) < 3 or height <= 0.02 * level:
        return None
    rising = np.maximum.accumulate(speed)
    marks = speed[0] + height * np.array([0.1, 0.9])
    early, late = np.interp(marks, rising, time)
    return float(0.8 * height / (late - early)) if late > early else None
