"""What the drum is doing, frame by frame: rest, tumbling, distribution, ramp, plateau, coasting.

A plateau is a stretch over which the speed stays within a narrow band without drifting; a ramp
crosses such a band quickly.  So every window of one fixed length whose speeds fit into the band
votes for its frames, and stretches of votes are trimmed to where the speed is really level.  A
controller that hunts leaves the narrow band, so a second, wider band is tried with a longer window.
What is level is then named by its speed, and what is not by where it leads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import MOTIONS

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# The speed counts as zero below this: slower than any drum is driven.
REST_RPM = 2.0
# Speeds of a drum that only tumbles, and at which laundry is spread along its wall (40 to 110 rpm);
# common practice, no published source.
TUMBLING_BELOW_RPM = 70.0
DISTRIBUTION_RPM = (40.0, 115.0)
# A drum that hangs on its own friction is falling from at least this speed.
COASTS_FROM_RPM = 120.0
# Share of its speed that a fall must leave behind to be one, and that the end of a file may cut.
FALLS_TO_SHARE = 0.9
# A ramp drives a drum through a band in under its window: 1.6 % in 1.5 s is 11 rpm/s at 1000 rpm,
# 5 % in 4 s is 12 rpm/s.
NARROW_SHARE, NARROW_S = 0.008, 1.5
WIDE_SHARE, WIDE_S = 0.025, 4.0
# At distribution the drum lifts its load once a turn and never runs evenly.
NARROW_RPM, WIDE_RPM = 2.0, 5.0
# Sigmas of noise by which a band is at least as wide.
BAND_SIGMAS = 3.0
# Drift, as a share of the speed per second, beyond which a level stretch is a slow ramp after all.
LARGEST_DRIFT_PER_S = 0.005
SLOWEST_RAMP_RPM_PER_S = 1.5  # no drift below it, however slow the drum
# A stretch's ends are cut back to within this many times its scatter, or the narrow band.
TRIM_SCATTERS = 2.5
# A single frame this far off both neighbours is a misreading.
OUTLIER_SHARE, OUTLIER_RPM, OUTLIER_SIGMAS = 0.03, 12.0, 6.0
# Unknown frames that leave a stretch in one piece.
LONGEST_GAP_S = 2.5
_MAD_TO_SIGMA = 1.4826  # of a normal distribution
_NAME = f"<U{max(map(len, MOTIONS))}"


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Frames from `first` to just before `last`."""

    first: int
    last: int


def classify(time_s: Floats, speed_rpm: Floats, sigma_rpm: Floats) -> NDArray[np.str_]:
    """Name the drum's motion in every frame.

    Args:
        time_s: shape (n,), frame centres, uniform and rising.
        speed_rpm: shape (n,), unsigned drum speed; 0 at rest, nan where unknown.
        sigma_rpm: shape (n,), standard uncertainty of each speed; nan counts as none.

    Returns:
        Shape (n,), one of `spinlab.speed.track.MOTIONS` each.  Frames of unknown speed, and single
        frames that disagree with both their neighbours, are "unknown".

    Raises:
        ValueError: the arrays differ in shape.
    """
    if not (np.shape(time_s) == np.shape(speed_rpm) == np.shape(sigma_rpm)):
        raise ValueError("time_s, speed_rpm and sigma_rpm must have the same shape")
    motion = np.full(len(time_s), "unknown", dtype=_NAME)
    if len(time_s) < 2:
        return motion
    sigma = np.nan_to_num(sigma_rpm, nan=0.0, posinf=0.0, neginf=0.0)
    speed = np.where(outliers(speed_rpm, sigma), np.nan, speed_rpm)
    known = np.isfinite(speed)
    rest = known & (speed < REST_RPM)
    motion[rest] = "rest"
    turning = known & ~rest
    flat = level_stretches(time_s, speed, sigma)
    for stretch in flat:
        inside = turning[stretch.first : stretch.last]
        motion[stretch.first : stretch.last][inside] = "plateau"
    _name_slopes(motion, time_s, speed, sigma)
    _name_slow(motion, speed, flat)
    return motion


def outliers(speed_rpm: Floats, sigma_rpm: Floats) -> Mask:
    """Single frames far from the two before and the two after, which agree better; shape (n,)."""
    n = len(speed_rpm)
    around = np.full((4, n), np.nan)
    for row, shift in enumerate((-2, -1, 1, 2)):
        target, source = (slice(-shift, n), slice(0, n + shift))
        if shift > 0:
            target, source = (slice(0, n - shift), slice(shift, n))
        around[row, target] = speed_rpm[source]
    known = np.isfinite(around)
    low = np.where(known, around, np.inf).min(axis=0)
    high = np.where(known, around, -np.inf).max(axis=0)
    with np.errstate(invalid="ignore"):
        beyond = np.maximum(speed_rpm - high, low - speed_rpm)
        least = np.maximum(OUTLIER_SHARE * high, OUTLIER_SIGMAS * sigma_rpm)
        far = (beyond > np.maximum(least, OUTLIER_RPM)) & (beyond > high - low)
    return np.asarray(far & (known.sum(axis=0) >= 3) & (low > 0))


def level_stretches(time_s: Floats, speed_rpm: Floats, sigma_rpm: Floats) -> tuple[Stretch, ...]:
    """Stretches over which the speed is held, in time order."""
    hop_s = float(np.median(np.diff(time_s)))
    votes = np.zeros(len(time_s), dtype=bool)
    for share, least_rpm, length_s in (
        (NARROW_SHARE, NARROW_RPM, NARROW_S),
        (WIDE_SHARE, WIDE_RPM, WIDE_S),
    ):
        size = max(3, round(length_s / hop_s))
        wide = length_s > NARROW_S  # only for speeds that swing about one level
        votes |= _votes(speed_rpm, sigma_rpm, hop_s, size, share, least_rpm, no_drift=wide)
    found: list[Stretch] = []
    for stretch in _runs(votes):
        for part in _without_steps(speed_rpm, sigma_rpm, stretch):
            trimmed = _trimmed(speed_rpm, sigma_rpm, part)
            if trimmed is not None and _is_held(speed_rpm, sigma_rpm, hop_s, trimmed):
                found.append(trimmed)
    return _joined(found, speed_rpm, sigma_rpm, hop_s)


def _votes(
    speed: Floats,
    sigma: Floats,
    hop_s: float,
    size: int,
    share: float,
    least_rpm: float,
    *,
    no_drift: bool,
) -> Mask:
    """Frames in any window of `size` frames whose speeds fit into the band."""
    votes = np.zeros(len(speed), dtype=bool)
    if len(speed) < size:
        return votes
    windows = np.lib.stride_tricks.sliding_window_view(speed, size)
    noise = np.lib.stride_tricks.sliding_window_view(sigma, size)
    known = np.isfinite(windows)
    enough = known.sum(axis=1) >= max(3, 0.7 * size)
    low = np.where(known, windows, np.inf).min(axis=1)
    high = np.where(known, windows, -np.inf).max(axis=1)
    half = np.maximum(share * 0.5 * (low + high), BAND_SIGMAS * np.median(noise, axis=1))
    fits = enough & (low >= REST_RPM) & (high - low <= 2.0 * np.maximum(half, least_rpm))
    if no_drift:
        fits &= _drift(windows, hop_s) <= 0.0
    for k in np.flatnonzero(fits):
        votes[k : k + size] = True
    return votes


def _drift(windows: Floats, hop_s: float) -> Floats:
    """How far each row's slope exceeds what a held speed may drift, rpm/s; nan left out."""
    known = np.isfinite(windows)
    count = np.maximum(known.sum(axis=1), 1)
    value = np.where(known, windows, 0.0)
    place = np.where(known, np.arange(windows.shape[1]) * hop_s, 0.0)
    mean, centre = value.sum(axis=1) / count, place.sum(axis=1) / count
    lever = np.where(known, place - centre[:, None], 0.0)
    slope = (lever * value).sum(axis=1) / np.maximum((lever**2).sum(axis=1), 1e-12)
    excess: Floats = np.abs(slope) - np.maximum(
        LARGEST_DRIFT_PER_S * mean, SLOWEST_RAMP_RPM_PER_S
    )
    return excess


def _without_steps(speed: Floats, sigma: Floats, stretch: Stretch) -> list[Stretch]:
    """A stretch cut wherever the level steps from one frame's neighbourhood to the next.

    Two plateaus that lie close together can vote as one; between them the medians of the five
    frames before and after differ by the whole narrow band, and by more than the speed swings.
    """
    inside = speed[stretch.first : stretch.last]
    known = np.flatnonzero(np.isfinite(inside))
    values = inside[known]
    span = 5
    if len(values) < 2 * span:
        return [stretch]
    windows = np.lib.stride_tricks.sliding_window_view(values, span)
    middle, swing = np.median(windows, axis=1), np.ptp(windows, axis=1)
    step = np.abs(middle[span:] - middle[:-span])
    noise = float(np.median(sigma[stretch.first : stretch.last]))
    least = 2.0 * np.maximum(NARROW_SHARE * middle[span:], BAND_SIGMAS * noise)
    least = np.maximum(least, np.minimum(swing[span:], swing[:-span]) * 1.5)
    edges = [0]
    for first, last in _pairs(step > least):
        edges.append(first + int(np.argmax(step[first:last])) + span)
    cuts = [stretch.first + int(known[e]) for e in edges[1:]]
    starts, ends = [stretch.first, *cuts], [*cuts, stretch.last]
    return [Stretch(first=a, last=b) for a, b in zip(starts, ends, strict=True)]


def _trimmed(speed: Floats, sigma: Floats, stretch: Stretch) -> Stretch | None:
    """A stretch without the ends that still lead up to, or away from, its level."""
    values = speed[stretch.first : stretch.last]
    middle = float(np.nanmedian(values))
    scatter = _MAD_TO_SIGMA * float(np.nanmedian(np.abs(values - middle)))
    noise = float(np.median(sigma[stretch.first : stretch.last]))
    band = max(NARROW_SHARE * middle, BAND_SIGMAS * noise, TRIM_SCATTERS * scatter)
    with np.errstate(invalid="ignore"):
        near = np.flatnonzero(np.abs(values - middle) <= band)
    if not len(near):
        return None
    return Stretch(first=stretch.first + int(near[0]), last=stretch.first + int(near[-1]) + 1)


def _is_held(speed: Floats, sigma: Floats, hop_s: float, stretch: Stretch) -> bool:
    """Whether a stretch lasts and does not drift, beyond what noise would make of it."""
    values = speed[stretch.first : stretch.last]
    count = len(values)
    if count < round(NARROW_S / hop_s):
        return False
    noise = float(np.median(sigma[stretch.first : stretch.last]))
    # Standard error of a straight line's slope through evenly spaced points.
    error = noise / hop_s * np.sqrt(12.0 / max(count, 3) ** 3)
    return bool(_drift(values[np.newaxis], hop_s)[0] <= 2.0 * error)


def _joined(
    stretches: list[Stretch], speed: Floats, sigma: Floats, hop_s: float
) -> tuple[Stretch, ...]:
    """Neighbours on one level, with nothing but that level or short gaps between, as one."""
    joined: list[Stretch] = []
    for stretch in stretches:
        if joined and _continues(joined[-1], stretch, speed, sigma, hop_s):
            joined[-1] = Stretch(first=joined[-1].first, last=stretch.last)
        else:
            joined.append(stretch)
    return tuple(joined)


def _continues(a: Stretch, b: Stretch, speed: Floats, sigma: Floats, hop_s: float) -> bool:
    one = float(np.nanmedian(speed[a.first : a.last]))
    other = float(np.nanmedian(speed[b.first : b.last]))
    noise = float(np.median(sigma[a.first : b.last]))
    band = max(NARROW_SHARE * one, BAND_SIGMAS * noise)
    between = speed[a.last : b.first]
    known = between[np.isfinite(between)]
    near = np.abs(known - 0.5 * (one + other)) <= max(WIDE_SHARE * one, 2.0 * band)
    short = (b.first - a.last) * hop_s <= LONGEST_GAP_S
    return bool(abs(one - other) <= band and short and near.all())


def _name_slopes(motion: NDArray[np.str_], time_s: Floats, speed: Floats, sigma: Floats) -> None:
    """Name turning frames that are not level: ramp, coasting, or unknown where nothing tells."""
    loose = np.isfinite(speed) & (motion == "unknown")
    for first, last in _pairs(loose):
        before, after = max(first - 1, 0), min(last, len(speed) - 1)
        ends = [k for k in (before, *range(first, last), after) if np.isfinite(speed[k])]
        change = np.abs(np.ptp(speed[ends]))
        noise = float(np.median(sigma[first:last]))
        least = max(2.0 * NARROW_SHARE * float(np.median(speed[first:last])), BAND_SIGMAS * noise)
        if change > least:
            motion[first:last] = "ramp"
    for first, last in _falls(motion, speed):
        inside = motion[first:last]
        inside[inside == "ramp"] = "coasting"


def _falls(motion: NDArray[np.str_], speed: Floats) -> list[tuple[int, int]]:
    """Falls from a fast speed to below that of distribution, or that nothing known ends."""
    found = []
    for first, last in _pairs((motion == "ramp") | (motion == "unknown")):
        known = first + np.flatnonzero(np.isfinite(speed[first:last]))
        if first > 0 and np.isfinite(speed[first - 1]):
            known = np.concatenate([[first - 1], known])
        for start, end in _descents(speed[known]):
            a, b = int(known[start]), int(known[end])
            ends_open = not np.isfinite(speed[b + 1 :]).any()
            to_rest = b + 1 < len(motion) and motion[b + 1] == "rest"
            low = speed[b] < DISTRIBUTION_RPM[1] or to_rest or ends_open
            if speed[a] >= COASTS_FROM_RPM and low and b - a >= 2:
                found.append((max(a, first), b + 1))
    return found


def _descents(speed: Floats) -> list[tuple[int, int]]:
    """Index pairs (top, bottom) of every fall by a tenth and more, swings within it ignored."""
    found, top, bottom = [], 0, 0
    for k in range(1, len(speed)):
        if speed[k] <= speed[bottom]:
            bottom = k
        elif speed[k] > 1.1 * speed[bottom] + NARROW_RPM:
            if speed[bottom] < FALLS_TO_SHARE * speed[top]:
                found.append((top, bottom))
            top = bottom = k
        if speed[k] >= speed[top]:
            top = bottom = k
    if len(speed) and speed[bottom] < FALLS_TO_SHARE * speed[top]:
        found.append((top, bottom))
    return found


def _name_slow(
    motion: NDArray[np.str_], speed: Floats, flat: tuple[Stretch, ...]
) -> None:
    """Name what happens below the spin: distribution where it is held, else tumbling."""
    for stretch in flat:
        level = float(np.nanmedian(speed[stretch.first : stretch.last]))
        held = motion[stretch.first : stretch.last]
        if DISTRIBUTION_RPM[0] <= level <= DISTRIBUTION_RPM[1]:
            held[held == "plateau"] = "distribution"
        elif level < DISTRIBUTION_RPM[0]:
            held[held == "plateau"] = "tumbling"
    turning = np.isfinite(speed) & (speed >= REST_RPM)
    for first, last in _pairs(turning):
        if np.nanmax(speed[first:last]) < TUMBLING_BELOW_RPM and _comes_to_rest(motion, last):
            inside = motion[first:last]
            inside[inside != "unknown"] = "tumbling"


def _comes_to_rest(motion: NDArray[np.str_], last: int) -> bool:
    """Whether a slow burst ends in a standstill (or is lost) rather than in a spin."""
    later = np.flatnonzero(motion[last:] != "unknown")
    return not len(later) or motion[last + int(later[0])] in ("rest", "tumbling", "distribution")


def _pairs(mask: Mask) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _runs(mask: Mask) -> list[Stretch]:
    return [Stretch(first=a, last=b) for a, b in _pairs(mask)]
