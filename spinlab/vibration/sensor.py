"""Whether the sensor itself stayed where it was: tilt, walking, clipping.

Gravity is the sensor's own reference: its direction in the log changes only if the sensor, or the
machine under it, turns.  A phone that slides or a machine that walks shows as steps of tilt and
as knocks; a sensor at its end of range shows as samples piled up at one value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording

TILT_WINDOW_S = 2.0
# Ends of range that phone accelerometers are built with, in g (common practice).
_RANGES_G = (2.0, 4.0, 8.0, 16.0)
_STANDARD_GRAVITY = 9.80665
# From this share of the largest reading up a sample stands at the end of range; a few may by
# chance.
_AT_END = 0.995
_FEWEST_AT_END = 5


@dataclass(frozen=True, kw_only=True, eq=False)
class SensorState:
    """How the sensor held still.

    Attributes:
        tilt_deg: angle between gravity at the start and at the end of the log.
        tilt_uncertainty_deg: standard uncertainty from the scatter of gravity.
        steps_s: times at which gravity's direction jumped.
        clipped_share: share of samples at an end of range.
        range_m_s2: that end of range, if any was met.
        reason: why tilt could not be told ("" otherwise).
    """

    tilt_deg: float | None
    tilt_uncertainty_deg: float | None
    steps_s: tuple[float, ...]
    clipped_share: float
    range_m_s2: float | None
    reason: str = ""


def sensor_state(recording: Recording) -> SensorState:
    """Tilt, steps and clipping of an acceleration log."""
    clipped, limit = _clipping(recording)
    window = max(4, round(TILT_WINDOW_S * recording.rate_hz))
    pieces = recording.length // window
    if recording.channels < 3 or pieces < 4:
        reason = "three axes and eight seconds are needed to tell the sensor's tilt"
        return SensorState(
            tilt_deg=None,
            tilt_uncertainty_deg=None,
            steps_s=(),
            clipped_share=clipped,
            range_m_s2=limit,
            reason=reason,
        )
    used = recording.samples[:3, : pieces * window].astype(np.float64)
    blocks = used.reshape(3, pieces, window).mean(axis=2)
    norm = np.linalg.norm(blocks, axis=0)
    if not np.median(norm) > 0.5 * _STANDARD_GRAVITY:
        return SensorState(
            tilt_deg=None,
            tilt_uncertainty_deg=None,
            steps_s=(),
            clipped_share=clipped,
            range_m_s2=limit,
            reason="the log holds no gravity (it was removed before saving), so tilt is unknown",
        )
    scatter = _block_scatter(blocks)
    per_block = float(np.degrees(np.linalg.norm(scatter) / np.median(norm)))
    ends = max(1, pieces // 8)
    tilt = _angle_deg(blocks[:, :ends].mean(axis=1), blocks[:, -ends:].mean(axis=1))
    return SensorState(
        tilt_deg=tilt,
        tilt_uncertainty_deg=per_block * float(np.sqrt(2.0 / ends)),
        steps_s=_steps(blocks, per_block, recording, window),
        clipped_share=clipped,
        range_m_s2=limit,
    )


def _block_scatter(blocks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation of a block mean per axis, from differences of neighbours."""
    steps = np.abs(np.diff(blocks, axis=1))
    return np.asarray(1.4826 * np.median(steps, axis=1) / np.sqrt(2.0) + 1e-9)


def _steps(
    blocks: NDArray[np.float64], per_block_deg: float, recording: Recording, window: int
) -> tuple[float, ...]:
    """Jumps of tilt that stay: the mean of three blocks after against three before."""
    found: list[float] = []
    for k in range(3, blocks.shape[1] - 2):
        before = np.median(blocks[:, k - 3 : k], axis=1)
        after = np.median(blocks[:, k : k + 3], axis=1)
        turn = _angle_deg(before, after)
        time = recording.start_s + k * window / recording.rate_hz
        far = not found or time - found[-1] > 3 * TILT_WINDOW_S
        if turn > max(1.0, 6.0 * per_block_deg) and far:
            found.append(time)
    return tuple(found)


def _angle_deg(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    cross = np.linalg.norm(np.cross(a, b))
    return float(np.degrees(np.arctan2(cross, float(a @ b))))


def held_samples(recording: Recording) -> NDArray[np.bool_]:
    """Which samples lie within the sensor's range, shape (a, n); all of them for a sound."""
    held = np.ones(recording.samples.shape, dtype=bool)
    limit = _end_of_range(recording) if recording.kind == "acceleration" else None
    if limit is None:
        return held
    held = np.abs(recording.samples) <= _AT_END * limit
    if recording.clock is not None and recording.clock.resampled:
        # A spline through a sample at the end of range bends its neighbours too.
        from scipy.ndimage import binary_erosion

        held = binary_erosion(held, np.ones((1, 5)), border_value=1)
    return np.asarray(held)


def _end_of_range(recording: Recording) -> float | None:
    """The end of range that the log meets and never exceeds, m/s2; None where it meets none."""
    if recording.length == 0:
        return None
    peak = float(np.nanmax(np.abs(recording.samples)))
    for limit_g in _RANGES_G:
        limit = limit_g * _STANDARD_GRAVITY
        if abs(peak - limit) < 0.01 * limit:
            at_end = (np.abs(recording.samples) > _AT_END * peak).any(axis=0)
            if int(at_end.sum()) >= _FEWEST_AT_END:
                return peak
    return None


def _clipping(recording: Recording) -> tuple[float, float | None]:
    """Share of samples at an end of range, and that end as sensors are built."""
    peak = _end_of_range(recording)
    if peak is None:
        return 0.0, None
    at_end = (np.abs(recording.samples) > _AT_END * peak).any(axis=0)
    nearest = min(_RANGES_G, key=lambda g: abs(g * _STANDARD_GRAVITY - peak))
    return float(np.mean(at_end)), nearest * _STANDARD_GRAVITY
