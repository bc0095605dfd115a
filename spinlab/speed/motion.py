"""What the drum is doing, frame by frame: rest, tumbling, distribution, ramp, plateau, coasting.

What is level is named by its speed, and what is not by where it leads.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.level import (
    BAND_SIGMAS,
    NARROW_RPM,
    NARROW_SHARE,
    REST_RPM,
    Floats,
    Stretch,
    frame_noise,
    level_stretches,
    outliers,
    runs,
)
from spinlab.speed.track import MOTIONS

# Speeds of a drum that only tumbles, and at which laundry is spread along its wall (40 to 110 rpm);
# common practice, no published source.
TUMBLING_BELOW_RPM = 70.0
DISTRIBUTION_RPM = (40.0, 115.0)
# A drum that hangs on its own friction is falling from at least this speed.
COASTS_FROM_RPM = 120.0
# Share of its speed that a fall must leave behind to be one, and that the end of a file may cut.
FALLS_TO_SHARE = 0.9
# Scatter beyond this is no noise that a level could be seen through.
MOST_SCATTER_SHARE = 0.01
_NAME = f"<U{max(map(len, MOTIONS))}"


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
    # A track may scatter by more than it states.
    scatter = np.minimum(frame_noise(speed), MOST_SCATTER_SHARE * np.nan_to_num(speed))
    sigma = np.maximum(sigma, scatter)
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


def _name_slopes(motion: NDArray[np.str_], time_s: Floats, speed: Floats, sigma: Floats) -> None:
    """Name turning frames that are not level: ramp, coasting, or unknown where nothing tells."""
    loose = np.isfinite(speed) & (motion == "unknown")
    for first, last in runs(loose):
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
    for first, last in runs((motion == "ramp") | (motion == "unknown")):
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


def _name_slow(motion: NDArray[np.str_], speed: Floats, flat: tuple[Stretch, ...]) -> None:
    """Name what happens below the spin: distribution where it is held, else tumbling."""
    for stretch in flat:
        level = float(np.nanmedian(speed[stretch.first : stretch.last]))
        held = motion[stretch.first : stretch.last]
        if DISTRIBUTION_RPM[0] <= level <= DISTRIBUTION_RPM[1]:
            held[held == "plateau"] = "distribution"
        elif level < DISTRIBUTION_RPM[0]:
            held[held == "plateau"] = "tumbling"
    turning = np.isfinite(speed) & (speed >= REST_RPM)
    for first, last in runs(turning):
        if np.nanmax(speed[first:last]) < TUMBLING_BELOW_RPM and _comes_to_rest(motion, last):
            inside = motion[first:last]
            inside[inside != "unknown"] = "tumbling"


def _comes_to_rest(motion: NDArray[np.str_], last: int) -> bool:
    """Whether a slow burst ends in a standstill (or is lost) rather than in a spin."""
    later = np.flatnonzero(motion[last:] != "unknown")
    return not len(later) or motion[last + int(later[0])] in ("rest", "tumbling", "distribution")
