"""The suspension's resonance as the drum runs through it: frequency and damping, two ways.

1. Swept fit.  A ramp passes 2-6 Hz in a second or two, too quickly for a steady response, so the
   response itself is computed: x'' + 2 z w x' + w^2 x = Re[(v^2 - i v') exp(i angle)] with
   v = d angle/dt (unit rotating unbalance), driven by the track's own angle, and read by the same
   windows as the log.  Only sizes are compared, so a slow error of the angle does no harm.
2. Half power on the receptance |a| / f^4: f2^2 - f1^2 = 4 z sqrt(1 - z^2) f0^2.  Right only for a
   slow sweep; ISO 7626-2 (value from memory) allows 54 (f0 / Q)^2 Hz per minute.

References: Lewis 1932, "Vibration during acceleration through a critical speed", ASME Trans. 54.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import Estimate, SpeedTrack
from spinlab.vibration.half_power import half_power
from spinlab.vibration.sweep import Sweep, projector, windows_of

RANGE_HZ = (1.4, 7.5)  # drum rates in which a tub's resonance is looked for
FIT_RATE_HZ = 60.0
WINDOW_TURNS = 2.5
LEAST_WINDOWS = 8
# The drum is on its way where its rate changes by this much, over a second.
SLOPE_S = 1.0
MOVING_HZ_PER_S = 0.1
DAMPING_RANGE = (0.01, 0.6)
_COUPLING = 0.05  # relative scatter that a panel-mounted sensor adds at any size
_STRAY = 0.02  # share of the largest size that other modes and directions leak in
_TILT_SPREAD = 0.5  # of the exponent that takes up the case's own response
WORST_MISFIT = 1.6
# What one mode fitted to a tub with several, and with dry friction, is off by: its damping by this
# share; its frequency by up to half the half-width at half power, f z, taken as a rectangular
# bound.  Other modes add to the top's flanks without raising the misfit, so it does not tell.
MODEL_SHARE = 0.25
_MODEL_SHIFT = 0.5 / np.sqrt(3.0)
# A peak so narrow that this many fit side by side into a passage must stand out of growth by a
# power of speed: chance may raise one of them, by so much, once in twenty passages.  A broader one
# bends the whole curve, and its own uncertainty says how little is known of it.
NARROW_PLACES = 4.0
CHANCE_PEAK = 0.05
_INDEPENDENT = 1.0 / 3.0  # windows a quarter apart: about one in three is independent
LEAST_SHARE = 0.3  # of the strongest direction: less is a mixture of the others' modes


@dataclass(frozen=True, kw_only=True, eq=False)
class Passage:
    """One run through the resonance, up or down.

    Attributes:
        direction: "up" or "down".
        start_s, end_s: on the file's own clock.
        rate_hz, size_m_s2, standard_uncertainty: shape (w,), the strongest axis' first order.
        axis: its name.
        frequency_hz, damping_ratio: from the swept fit.
        half_power_damping: from the half-power points, with what the fast sweep adds left in.
        sweep_share: sweep rate over the one that half power allows; above 1 it overstates.
        peak_factor: largest size over the size a unit of the same unbalance has far above.
        misfit: RMS departure of the fit in standard uncertainties; 1 is a perfect model.
        reason: why there is no number; "" otherwise.
    """

    direction: str
    start_s: float
    end_s: float
    rate_hz: NDArray[np.float64]
    size_m_s2: NDArray[np.float64]
    standard_uncertainty: NDArray[np.float64]
    axis: str = ""
    frequency_hz: Estimate | None = None
    damping_ratio: Estimate | None = None
    half_power_damping: Estimate | None = None
    sweep_share: float | None = None
    peak_factor: Estimate | None = None
    misfit: float | None = None
    reason: str = ""


def passages(recording: Recording, track: SpeedTrack) -> tuple[Passage, ...]:
    """Every run of the drum through the resonance range, measured in up to three directions.

    The directions are the vertical (from gravity) and the two principal horizontal ones, because
    the tub's modes are; a sensor lies at any angle.
    """
    found: list[Passage] = []
    for first, last in _monotone_runs(track):
        found += _measure(recording, track, first, last)
    return tuple(found)


def _monotone_runs(track: SpeedTrack) -> list[tuple[int, int]]:
    """First and last frame of each stretch that crosses the range steadily up or down.

    A dwell (distribution, a plateau within the range) says nothing of the resonance and belongs to
    no run: noise over many seconds of it would decide the fit.
    """
    rate = track.speed_rpm / 60.0
    inside = np.isfinite(rate) & (rate > 0.5 * RANGE_HZ[0]) & (rate < RANGE_HZ[1])
    if len(rate) < 4:
        return []
    hop_s = float(track.time_s[1] - track.time_s[0])
    half = max(1, round(0.5 * SLOPE_S / hop_s))
    padded = np.pad(rate, half, mode="edge")
    slope = (padded[2 * half :] - padded[: -2 * half]) / (2 * half * hop_s)
    runs = []
    for moving in (inside & (slope > MOVING_HZ_PER_S), inside & (slope < -MOVING_HZ_PER_S)):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], moving, [False]]).astype(np.int8)))
        for first, past in zip(edges[::2], edges[1::2], strict=True):
            piece = rate[first:past]
            if past - first >= 4 and piece.max() >= 1.6 * piece.min() and piece.max() >= 5.0:
                runs.append((int(first), int(past - 1)))
    return sorted(runs)


def _measure(recording: Recording, track: SpeedTrack, first: int, last: int) -> list[Passage]:
    start, end = float(track.time_s[first]), float(track.time_s[last])
    direction = "up" if track.speed_rpm[last] > track.speed_rpm[first] else "down"
    empty = np.zeros(0)
    nothing = Passage(
        direction=direction,
        start_s=start,
        end_s=end,
        rate_hz=empty,
        size_m_s2=empty,
        standard_uncertainty=empty,
    )
    if recording.rate_hz < 4.0 * RANGE_HZ[1]:
        slow = say(
            "at {rate:.0f} samples per second the resonance range folds", rate=recording.rate_hz
        )
        return [replace(nothing, reason=slow)]
    piece, time, rate = _slow_part(recording, start, end)
    turns = track.turns_at(time)
    windows = windows_of(turns - turns[0], WINDOW_TURNS)
    if len(windows) < LEAST_WINDOWS:
        return [replace(nothing, reason="the resonance range is passed in too few turns")]
    names, rows = _directions(recording, piece)
    sweep = Sweep(
        turns=turns,
        rate=rate,
        project=projector(turns, windows),
        time=time,
        centres=np.array([0.5 * (a + b) for a, b in windows]).astype(int),
    )
    amplitude = sweep.read(rows)
    beside = projector(turns, windows, order=1.0 + 1.9 / WINDOW_TURNS)
    noise = np.sqrt(np.mean(np.abs(rows @ beside.T) ** 2, axis=1) / 2.0)
    grid = sweep.grid(RANGE_HZ)
    loudest = float(np.abs(amplitude).max())
    found = []
    for name, size, floor in zip(names, np.abs(amplitude), noise, strict=True):
        base = replace(
            nothing,
            rate_hz=sweep.drum_hz,
            size_m_s2=size,
            standard_uncertainty=np.sqrt(
                floor**2 + (_COUPLING * size) ** 2 + (_STRAY * size.max()) ** 2
            ),
            axis=name,
        )
        if size.max() < LEAST_SHARE * loudest:
            base = replace(base, reason="the tub swings mainly in the other directions")
        elif size.max() < 5.0 * floor:
            base = replace(base, reason="the first order does not stand out of the noise here")
        else:
            base = _fitted(base, sweep, grid)
        found.append(base)
    return found


def _directions(
    recording: Recording, piece: NDArray[np.float64]
) -> tuple[list[str], NDArray[np.float64]]:
    """Names and rows of the vertical and the two principal horizontal directions."""
    if recording.channels < 3:
        names = list(recording.channel_names) or [str(k) for k in range(recording.channels)]
        return names, piece
    mean = recording.samples[:3].mean(axis=1, dtype=np.float64)
    norm = float(np.linalg.norm(mean))
    if norm < 5.0:
        return list(recording.channel_names[:3]), piece[:3]
    up = mean / norm
    flat = piece[:3] - np.outer(up, up @ piece[:3])
    vectors = np.linalg.svd(flat, full_matrices=False)[0].T[:2]
    rows = np.stack([up @ piece[:3], vectors[0] @ piece[:3], vectors[1] @ piece[:3]])
    return ["vertical", "horizontal", "horizontal across"], rows


def _slow_part(
    recording: Recording, start_s: float, end_s: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """The passage at about 60 samples per second: samples, times, rate."""
    from scipy.signal import decimate

    piece = recording.cut(start_s, end_s)
    x = piece.samples.astype(np.float64)
    x = x - x.mean(axis=1, keepdims=True)
    factor = max(1, int(recording.rate_hz // FIT_RATE_HZ))
    if factor > 1 and x.shape[1] > 30 * factor:
        x = decimate(x, factor, ftype="fir", axis=1)
    else:
        factor = 1
    rate = recording.rate_hz / factor
    return x, piece.start_s + np.arange(x.shape[1]) / rate, rate


def _fitted(
    found: Passage, sweep: Sweep, grid: dict[tuple[float, float], NDArray[np.float64]]
) -> Passage:
    """Frequency and damping by the swept fit, and the half-power check.

    The case between tub and sensor has resonances of its own above the range, which tilt the curve:
    a power of frequency with a free exponent (held near 0) takes that up.
    """
    from scipy.optimize import least_squares

    size, u, drum_hz = found.size_m_s2, found.standard_uncertainty, sweep.drum_hz
    tilt = np.log(drum_hz / np.exp(np.mean(np.log(drum_hz))))

    def rest(shape: NDArray[np.float64], exponent: float) -> NDArray[np.float64]:
        shape = shape * np.exp(exponent * tilt)
        gain = float(np.sum(size * shape / u**2) / np.sum(shape**2 / u**2))
        return np.append((size - gain * shape) / u, exponent / _TILT_SPREAD)

    def misfit(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return rest(sweep.response(float(np.exp(p[0])), float(np.exp(p[1]))), float(p[2]))

    start = min(grid, key=lambda g: float(np.sum(rest(grid[g], 0.3) ** 2)))
    bounds = (
        [np.log(RANGE_HZ[0] * 0.8), np.log(DAMPING_RANGE[0]), -0.8],
        [np.log(RANGE_HZ[1]), np.log(DAMPING_RANGE[1]), 2.0],
    )
    first_guess = np.array([np.log(start[0]), np.log(start[1]), 0.3])
    best = least_squares(misfit, first_guess, bounds=bounds, loss="soft_l1", max_nfev=25)
    off = float(np.sqrt(np.mean(misfit(best.x)[:-1] ** 2)))
    covariance = np.linalg.pinv(best.jac.T @ best.jac) / _INDEPENDENT * max(1.0, off) ** 2
    f0, z = (float(v) for v in np.exp(best.x[:2]))
    f_u, z_u = (float(v) for v in np.sqrt(np.diag(covariance))[:2] * np.exp(best.x[:2]))
    low, high = drum_hz.min(), drum_hz.max()
    if not low < f0 < high or z_u > z or f_u > 0.3 * f0 or off > WORST_MISFIT:
        return replace(found, misfit=off, reason="no single resonance describes this passage")
    gain = (_no_peak(drum_hz, size, u) - off**2) * len(size) * _INDEPENDENT / max(1.0, off) ** 2
    # Half-power widths are 2 z f; two of them apart, peaks count as different places.  Chi-square
    # of two parameters has the tail exp(-gain / 2) at each.
    places = float(np.log(high / low)) / (4.0 * z)
    if places >= NARROW_PLACES and places * np.exp(-0.5 * max(gain, 0.0)) > CHANCE_PEAK:
        why = "the first order grows through this passage without a peak that stands out"
        return replace(found, misfit=off, reason=why)
    f_u, z_u = float(np.hypot(f_u, _MODEL_SHIFT * z * f0)), float(np.hypot(z_u, MODEL_SHARE * z))
    shape = sweep.response(f0, z)
    top = int(np.argmax(shape / drum_hz**2))
    slope = abs(np.gradient(drum_hz, sweep.time[sweep.centres])[top])
    peak = 1.0 / (2.0 * z * np.sqrt(max(1.0 - z * z, 1e-6)))
    return replace(
        found,
        frequency_hz=Estimate(value=f0, standard_uncertainty=f_u),
        damping_ratio=Estimate(value=z, standard_uncertainty=z_u),
        half_power_damping=half_power(drum_hz, size, u, above_hz=RANGE_HZ[0]),
        sweep_share=float(slope * 60.0 / (54.0 * (2.0 * z * f0) ** 2)),
        peak_factor=Estimate(value=peak, standard_uncertainty=peak * z_u / z),
        misfit=off,
    )


def _no_peak(
    drum_hz: NDArray[np.float64], size: NDArray[np.float64], u: NDArray[np.float64]
) -> float:
    """Mean squared departure, in standard uncertainties, from the best power of speed."""
    x = np.log(drum_hz / np.exp(np.mean(np.log(drum_hz))))
    shapes = np.exp(np.linspace(-2.0, 8.0, 101)[:, None] * x)
    weight = 1.0 / u**2
    gain = (shapes @ (weight * size)) / (shapes**2 @ weight)
    return float(np.mean((size - gain[:, None] * shapes) ** 2 * weight, axis=1).min())
