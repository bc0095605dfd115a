"""Following: spectra along a path, so that its lines stand still and can be measured finely.

Each frame is resampled at equal steps of the path's own phase before its transform (order
tracking by computed resampling, Fyfe and Munck 1997, MSSP 11:187-205, frame by frame).  A line at
order o of the path then peaks at o times the path's local rate, sharp over frames much longer than
a trial chirp rate would allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.chirp import hann, span
from spinlab.speed.evidence import Floats, noise_floor
from spinlab.speed.frames import blocks

if TYPE_CHECKING:
    from scipy.interpolate import CubicHermiteSpline

# Beyond this a line counts by its logarithm only, so that its peak still shows but does not rule.
STRONG_RATIO = 20.0
# Points at which a frame's course is laid down.
KNOTS = 33
# Spectra made by one call: few enough for the processor's cache.
TOGETHER = 8
# Half the main lobe of the shortest frame that follows low lines.
STANDING_REACH_HZ = 1.2


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """A smooth course of a rate over time: knots in s and ln(Hz), slopes in 1/s."""

    time_s: NDArray[np.float64]
    log_hz: NDArray[np.float64]
    slope: NDArray[np.float64]

    @cached_property
    def spline(self) -> CubicHermiteSpline:
        """ln(rate) between the knots."""
        from scipy.interpolate import CubicHermiteSpline

        return CubicHermiteSpline(self.time_s, self.log_hz, self.slope)

    def rate_hz(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The rate at any times (cubic Hermite between knots, held outside)."""
        inside = np.clip(time_s, self.time_s[0], self.time_s[-1])
        rate_hz: NDArray[np.float64] = np.exp(self.spline(inside))
        return rate_hz


@dataclass(frozen=True, kw_only=True, eq=False)
class Followed:
    """Power over local noise along a course, shape (frames, bins); bin k is k * bin_hz."""

    time_s: NDArray[np.float64]
    rate_hz: NDArray[np.float64]
    ratio: Floats
    bin_hz: float
    frame_s: float


def follow(
    signals: Floats,
    sample_rate_hz: float,
    start_s: float,
    course: Course,
    time_s: NDArray[np.float64],
    *,
    frame_s: float,
    highest_hz: float,
    floor_width_hz: float,
    pad: int = 3,
) -> tuple[Followed, ...]:
    """Spectra of frames around `time_s`, each resampled to the phase of `course`.

    Args:
        signals: shape (rows, n).
        sample_rate_hz: their rate.
        start_s: time of their first sample.
        course: the rate to follow.
        time_s: frame centres.
        frame_s: frame length.
        highest_hz: bins above are dropped.
        floor_width_hz: width over which the noise floor is taken.
        pad: zero-padding factor.

    Returns:
        one `Followed` per row.
    """
    from scipy import fft

    frame = round(frame_s * sample_rate_hz)
    window = hann(frame)
    length = fft.next_fast_len(frame * pad, real=True)
    bins = min(length // 2 + 1, int(highest_hz / sample_rate_hz * length) + 2)
    bin_hz = sample_rate_hz / length
    rate_hz = course.rate_hz(time_s)
    out = np.empty((len(signals), len(time_s), bins), np.float32)
    for block in blocks(len(time_s)):
        offsets = _offsets(course, time_s[block], frame=frame, sample_rate_hz=sample_rate_hz)
        positions = (time_s[block, None] - start_s) * sample_rate_hz + offsets
        power = out[:, block]
        _powers(signals, positions, window, length, power)
        power /= noise_floor(power, bin_hz, width_hz=floor_width_hz)
        strong = power > STRONG_RATIO
        ratio = power[strong] / STRONG_RATIO
        power[strong] = STRONG_RATIO * (1 + np.log(ratio))
    return tuple(
        Followed(time_s=time_s, rate_hz=rate_hz, ratio=row, bin_hz=bin_hz, frame_s=frame_s)
        for row in out
    )


def _powers(
    signals: Floats, positions: NDArray[np.float64], window: Floats, length: int, out: Floats
) -> None:
    """Power spectra of the samples at `positions` (frames, samples), into (rows, frames, bins)."""
    from scipy import fft

    first, last = (int(np.floor(edge)) for edge in (positions.min(), positions.max()))
    around = span(signals, first, last + 2)
    rise = np.diff(around, axis=1)
    share = window / window.sum()
    positions = positions - first
    # a frame of one signal alone would leave the transform's vector lanes empty
    together = max(1, TOGETHER // len(signals))
    padded = np.zeros((len(signals), together, length), np.float32)
    for k in range(0, len(positions), together):
        some = slice(k, k + together)
        whole = positions[some].astype(np.intp)
        part = (positions[some] - whole).astype(np.float32)
        values = np.take(rise, whole, axis=1, mode="wrap")
        values *= part
        values += np.take(around, whole, axis=1, mode="wrap")
        values -= (values @ share)[..., None]
        ready = padded[:, : values.shape[1]]
        np.multiply(values, window, out=ready[..., : len(window)])
        spectrum = fft.rfft(ready, axis=-1)[..., : out.shape[-1]]
        np.square(spectrum.real, out=out[:, some])
        out[:, some] += np.square(spectrum.imag)


def _offsets(
    course: Course, time_s: NDArray[np.float64], *, frame: int, sample_rate_hz: float
) -> NDArray[np.float64]:
    """Sample offsets at equal steps of the course's phase about each centre."""
    frame_s = frame / sample_rate_hz
    u = (np.arange(frame) - frame / 2) / sample_rate_hz
    local = np.linspace(-0.75 * frame_s, 0.75 * frame_s, KNOTS)
    rates = course.rate_hz(time_s[:, None] + local[None, :])
    centre = rates[:, KNOTS // 2]
    steps = 0.5 * (local[1] - local[0]) * (rates[:, 1:] + rates[:, :-1])
    turns = np.concatenate([np.zeros((len(rates), 1)), np.cumsum(steps, axis=1)], axis=1)
    turns -= turns[:, KNOTS // 2, None]
    offsets = [np.interp(u, t / c, local) for t, c in zip(turns, centre, strict=True)]
    return np.array(offsets).reshape(len(time_s), frame) * sample_rate_hz


def standing(
    frequency_hz: NDArray[np.float64], steady_hz: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Where a frequency lies on a tone that stands still, and so says nothing of the drum."""
    if not len(steady_hz):
        return np.zeros(frequency_hz.shape, bool)
    index = np.clip(np.searchsorted(steady_hz, frequency_hz), 1, max(1, len(steady_hz) - 1))
    left, right = steady_hz[index - 1], steady_hz[np.minimum(index, len(steady_hz) - 1)]
    near = np.minimum(np.abs(frequency_hz - left), np.abs(frequency_hz - right))
    return near < STANDING_REACH_HZ


def course_of(time_s: NDArray[np.float64], log_hz: NDArray[np.float64]) -> Course:
    """A course through known frames, bridging what lies between them."""
    from scipy.interpolate import PchipInterpolator

    x, y = time_s, log_hz
    if len(x) == 1:
        x, y = np.r_[x, x + 1.0], np.r_[y, y]
    return Course(time_s=x, log_hz=y, slope=PchipInterpolator(x, y)(x, 1))
