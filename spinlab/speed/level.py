"""Level stretches: where a speed is held, whatever the speed.

Every window of one fixed length whose speeds fit into a narrow band votes for its frames, and
stretches of votes are trimmed to where the speed is really level.  A controller that hunts leaves
the narrow band, so a second, wider band is tried with a longer window.  A ramp crosses either band
in less than its window.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# The speed counts as zero below this: slower than any drum is driven.
REST_RPM = 2.0
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
# A stretch as long as this is held even where noise could hide a slope.
SURELY_HELD_S = 4.0
# A speed that swings crosses its middle this often in the wide band's window; a peak only twice.
SWING_CROSSINGS = 3
STEP_FRAMES = 5
# A stretch's ends are cut back to within this many times its scatter, or the narrow band.
TRIM_SCATTERS = 2.5
# Fourth differences over which the scatter is taken.
NOISE_FRAMES = 11
# A single frame this far off both neighbours is a misreading.
OUTLIER_SHARE, OUTLIER_RPM, OUTLIER_SIGMAS = 0.03, 12.0, 6.0
# Unknown frames that leave a stretch in one piece.
LONGEST_GAP_S = 2.5
_MAD_TO_SIGMA = 1.4826  # of a normal distribution


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Frames from `first` to just before `last`."""

    first: int
    last: int


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


def frame_noise(speed_rpm: Floats) -> Floats:
    """How much the speed scatters from frame to frame, as a standard deviation; shape (n,).

    From fourth differences, in which ramps and slow swings vanish (those of white noise have 70
    times its variance): their median over some three seconds around.  Zero where too little is
    known.
    """
    noise = np.zeros(len(speed_rpm))
    if len(speed_rpm) < 5 + NOISE_FRAMES:
        return noise
    size = np.abs(np.diff(speed_rpm, n=4))
    windows = np.lib.stride_tricks.sliding_window_view(size, NOISE_FRAMES)
    enough = np.isfinite(windows).sum(axis=1) >= 0.6 * NOISE_FRAMES
    middle = np.zeros(len(windows))
    middle[enough] = np.nanmedian(windows[enough], axis=1)
    first = 2 + NOISE_FRAMES // 2
    noise[first : first + len(middle)] = _MAD_TO_SIGMA * middle / np.sqrt(70.0)
    noise[:first], noise[first + len(middle) :] = noise[first], noise[first + len(middle) - 1]
    return noise


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
    for first, last in runs(votes):
        whole = Stretch(first=first, last=last)
        for part in _without_steps(speed_rpm, sigma_rpm, whole):
            held = _held_part(speed_rpm, sigma_rpm, hop_s, part)
            if held is not None:
                found.append(held)
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
    middle = np.where(enough, 0.5 * (np.minimum(low, 1e9) + high), 0.0)
    half = np.maximum(share * middle, BAND_SIGMAS * np.median(noise, axis=1))
    fits = enough & (low >= REST_RPM) & (high - low <= 2.0 * np.maximum(half, least_rpm))
    if no_drift and fits.any():
        swings = _crossings(speed, size) >= SWING_CROSSINGS
        fits &= swings | (_drift(windows, hop_s) <= 0.0)
    for k in np.flatnonzero(fits):
        votes[k : k + size] = True
    return votes


def _crossings(speed: Floats, size: int) -> NDArray[np.int64]:
    """How often the speed crosses the middle of its range in each window of `size` frames."""
    known = np.isfinite(speed)
    bridged = np.interp(np.arange(len(speed)), np.flatnonzero(known), speed[known])
    windows = np.lib.stride_tricks.sliding_window_view(bridged, size)
    middle = 0.5 * (windows.max(axis=1) + windows.min(axis=1))
    above = windows > middle[:, None]
    return np.asarray(np.count_nonzero(np.diff(above, axis=1), axis=1))


def _drift(windows: Floats, hop_s: float) -> Floats:
    """How far each row's slope exceeds what a held speed may drift, rpm/s; nan left out."""
    known = np.isfinite(windows)
    count = np.maximum(known.sum(axis=1), 1)
    value = np.where(known, windows, 0.0)
    place = np.where(known, np.arange(windows.shape[1]) * hop_s, 0.0)
    mean, centre = value.sum(axis=1) / count, place.sum(axis=1) / count
    lever = np.where(known, place - centre[:, None], 0.0)
    slope = (lever * value).sum(axis=1) / np.maximum((lever**2).sum(axis=1), 1e-12)
    excess: Floats = np.abs(slope) - np.maximum(LARGEST_DRIFT_PER_S * mean, SLOWEST_RAMP_RPM_PER_S)
    return excess


def _without_steps(speed: Floats, sigma: Floats, stretch: Stretch) -> list[Stretch]:
    """A stretch cut wherever the level steps, as between two plateaus that lie close together.

    At a step the medians of the frames before and after differ by the whole narrow band, and the
    two sides as wholes do not overlap, which those of a swing would.
    """
    values = speed[stretch.first : stretch.last]
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < 2 * STEP_FRAMES:
        return [stretch]
    windows = np.lib.stride_tricks.sliding_window_view(values[known], STEP_FRAMES)
    middle = np.median(windows, axis=1)
    step = np.abs(middle[STEP_FRAMES:] - middle[:-STEP_FRAMES])
    noise = float(np.median(sigma[stretch.first : stretch.last]))
    least = 2.0 * np.maximum(NARROW_SHARE * middle[STEP_FRAMES:], BAND_SIGMAS * noise)
    edges = [0, len(values)]
    for first, last in runs(step > least):
        at = int(known[first + int(np.argmax(step[first:last])) + STEP_FRAMES])
        before, after = values[edges[-2] : at], values[at:]
        if _apart(before, after):
            edges[-1:] = [at, len(values)]
    return [
        Stretch(first=stretch.first + a, last=stretch.first + b)
        for a, b in itertools.pairwise(edges)
    ]


def _apart(one: Floats, other: Floats) -> bool:
    """Whether the middle four fifths of two sets of speeds do not overlap."""
    low, high = np.nanquantile(one, (0.1, 0.9)), np.nanquantile(other, (0.1, 0.9))
    return bool(low[1] < high[0] or high[1] < low[0])


def _held_part(speed: Floats, sigma: Floats, hop_s: float, part: Stretch) -> Stretch | None:
    """The part of a stretch that is held: trimmed once, and tighter if it drifts as a whole."""
    for tightness in (1.0, 0.5):
        trimmed = _trimmed(speed, sigma, part, tightness)
        if trimmed is None or not _is_held(speed, sigma, hop_s, trimmed):
            continue
        if not _lies_on_a_slope(speed, sigma, hop_s, trimmed):
            return trimmed
    return None


def _trimmed(speed: Floats, sigma: Floats, stretch: Stretch, tightness: float) -> Stretch | None:
    """A stretch without the ends that still lead up to, or away from, its level."""
    values = speed[stretch.first : stretch.last]
    middle = float(np.nanmedian(values))
    scatter = _MAD_TO_SIGMA * float(np.nanmedian(np.abs(values - middle)))
    noise = float(np.median(sigma[stretch.first : stretch.last]))
    band = max(NARROW_SHARE * middle, TRIM_SCATTERS * scatter)
    band = max(tightness * band, BAND_SIGMAS * noise)
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


def _lies_on_a_slope(speed: Floats, sigma: Floats, hop_s: float, stretch: Stretch) -> bool:
    """Whether a short stretch is, within its noise, part of one straight slope around it."""
    if stretch.last - stretch.first > SURELY_HELD_S / hop_s:
        return False
    around = round(NARROW_S / hop_s) - 1
    first, last = max(stretch.first - around, 0), min(stretch.last + around, len(speed))
    values = speed[first:last]
    known = np.isfinite(values)
    if first == stretch.first or last == stretch.last or known.sum() < 2 * around:
        return False
    place = (np.arange(len(values)) - 0.5 * (len(values) - 1)) * hop_s
    slope, middle = np.polyfit(place[known], values[known], 1)
    rest = values[known] - middle - slope * place[known]
    noise = float(np.median(sigma[first:last]))
    least = max(LARGEST_DRIFT_PER_S * middle, SLOWEST_RAMP_RPM_PER_S)
    straight = float(np.sqrt(np.mean(rest**2))) < 1.5 * max(noise, 1e-4 * middle)
    return bool(abs(slope) > least and straight)


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


def runs(mask: Mask) -> list[tuple[int, int]]:
    """Frame ranges (first, one past the last) over which a mask holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
