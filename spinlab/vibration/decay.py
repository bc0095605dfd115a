"""Damping from free decay: the logarithmic decrement, cycle by cycle.

delta = ln(x_n / x_{n+1}), zeta = delta / sqrt(4 pi^2 + delta^2) (ISO 2041; any vibration textbook).
A friction damper makes the decrement grow as the motion dies, a viscous one keeps it: the change
from the first to the second half tells which is at work.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import Estimate

BAND_HZ = (1.3, 9.0)  # where a suspended tub swings freely: 2-6 Hz (value from memory), with room
LEAST_CYCLES = 3
LEAST_SIGNAL_TO_NOISE = 4.0


@dataclass(frozen=True, kw_only=True)
class Decay:
    """One free decay.

    Attributes:
        start_s: its beginning on the file's own clock.
        frequency_hz, damping_ratio, decrement: with standard uncertainties.
        cycles: cycles used.
        growth: decrement of the later half over that of the earlier half; above 1 speaks for
            dry friction.  None with fewer than 6 cycles.
        reason: why there is none; "" otherwise.
    """

    start_s: float
    frequency_hz: Estimate | None = None
    damping_ratio: Estimate | None = None
    decrement: Estimate | None = None
    cycles: int = 0
    growth: float | None = None
    reason: str = ""


def free_decay(
    recording: Recording,
    start_s: float,
    *,
    longest_s: float = 3.0,
    band_hz: tuple[float, float] = BAND_HZ,
) -> Decay:
    """Fit the free decay that begins at `start_s` in an acceleration log.

    Args:
        recording: acceleration, shape (a, n).
        start_s: when the excitation ended.
        longest_s: how much of the log may belong to the decay.
        band_hz: where its frequency is looked for.
    """
    piece = recording.cut(start_s, start_s + longest_s)
    x = piece.samples.astype(np.float64)
    if x.shape[1] < recording.rate_hz * 4.0 / band_hz[1] or recording.rate_hz < 4 * band_hz[1]:
        return Decay(start_s=start_s, reason="too few samples after the stop")
    x = _freed_of_drift(x, recording.rate_hz)
    time = np.arange(x.shape[1]) / recording.rate_hz
    noise = _noise(recording, start_s + longest_s)
    frequency, frequency_u = _damped_sine(x, time, band_hz)
    size, floor = _cycle_sizes(x, time, frequency, noise)
    lost = np.flatnonzero(size < LEAST_SIGNAL_TO_NOISE * floor)
    usable = int(lost[0]) if len(lost) else len(size)
    if usable < LEAST_CYCLES:
        return Decay(
            start_s=start_s,
            cycles=usable,
            reason=say(
                "only {usable} cycles stand out of the noise; three are needed", usable=usable
            ),
        )
    decrement = _slope(size[:usable], floor)
    ratio = decrement.value / np.hypot(2.0 * np.pi, decrement.value)
    share = decrement.standard_uncertainty / max(abs(decrement.value), 1e-12)
    growth = None
    if usable >= 6:
        half = usable // 2
        early, late = _slope(size[:half], floor), _slope(size[half:usable], floor)
        growth = late.value / early.value if early.value > 0 else None
    return Decay(
        start_s=start_s,
        frequency_hz=Estimate(value=frequency, standard_uncertainty=frequency_u),
        damping_ratio=Estimate(value=float(ratio), standard_uncertainty=float(abs(ratio) * share)),
        decrement=decrement,
        cycles=usable,
        growth=growth,
    )


def _freed_of_drift(x: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Minus a straight line and what is above the band: a zero-phase low-pass keeps the shape."""
    from scipy.signal import butter, sosfiltfilt

    count = x.shape[1]
    ramp = np.linspace(-1.0, 1.0, count)
    line = np.polynomial.polynomial.polyfit(ramp, x.T, 1)
    x = x - (line[0][:, None] + line[1][:, None] * ramp)
    sos = butter(3, min(15.0, 0.4 * rate), fs=rate, output="sos")
    pad = min(count - 1, int(rate))
    return np.asarray(sosfiltfilt(sos, x, axis=1, padlen=pad))


def _noise(recording: Recording, after_s: float) -> float:
    """RMS of the same band in the quiet that follows, 0 where there is none."""
    quiet = recording.cut(after_s, after_s + 2.0)
    if quiet.length < recording.rate_hz:
        return 0.0
    x = _freed_of_drift(quiet.samples.astype(np.float64), recording.rate_hz)
    return float(np.sqrt(np.mean(np.sum(x**2, axis=0))))


def _damped_sine(
    x: NDArray[np.float64], time: NDArray[np.float64], band_hz: tuple[float, float]
) -> tuple[float, float]:
    """Frequency of the strongest damped sine and its standard uncertainty."""
    from scipy.optimize import minimize

    def rest(parameters: NDArray[np.float64]) -> float:
        f, s = parameters
        carrier = np.exp(-np.clip(s, 0.0, 60.0) * time)
        angle = 2.0 * np.pi * f * time
        design = np.column_stack([carrier * np.cos(angle), carrier * np.sin(angle)])
        q, _ = np.linalg.qr(design)
        return float(-np.sum((x @ q) ** 2))

    grid = [(f, s) for f in np.arange(band_hz[0], band_hz[1], 0.25) for s in (0.5, 1.5, 4.0)]
    start = min(grid, key=lambda g: rest(np.array(g)))
    best = minimize(rest, np.array(start), method="Nelder-Mead", options={"xatol": 1e-4})
    f, s = float(best.x[0]), float(max(best.x[1], 0.0))
    total = float(np.sum(x**2))
    left = max(total + float(best.fun), 1e-30)
    # Curvature of the misfit along the frequency gives the usual least-squares uncertainty.
    step = 0.02
    bend = (rest(np.array([f + step, s])) + rest(np.array([f - step, s])) - 2 * best.fun) / step**2
    variance = left / max(x.size - 4, 1) * _correlated(time)
    return f, float(np.sqrt(2.0 * variance / max(bend, 1e-12)))


def _correlated(time: NDArray[np.float64]) -> float:
    """Samples per independent one after the 15 Hz low-pass."""
    return max(1.0, 1.0 / (30.0 * float(time[1] - time[0])))


def _cycle_sizes(
    x: NDArray[np.float64], time: NDArray[np.float64], frequency: float, noise: float
) -> tuple[NDArray[np.float64], float]:
    """Amplitude in each whole cycle (root sum of squares over the axes), and its noise."""
    period = 1.0 / frequency
    cycles = int((time[-1] + time[1]) / period)
    sizes = np.zeros(cycles)
    for k in range(cycles):
        inside = (time >= k * period) & (time < (k + 1) * period)
        angle = 2.0 * np.pi * frequency * time[inside]
        design = np.column_stack([np.cos(angle), np.sin(angle), np.ones(inside.sum())])
        solution, *_ = np.linalg.lstsq(design, x[:, inside].T, rcond=None)
        sizes[k] = float(np.sqrt(np.sum(solution[:2] ** 2)))
    floor = max(noise, float(sizes[-2:].min()) if noise == 0.0 and cycles > 3 else noise)
    return sizes, max(floor, 1e-9)


def _slope(sizes: NDArray[np.float64], floor: float) -> Estimate:
    """Decrement: minus the slope of ln size against cycle, weighted by signal over noise."""
    y, n = np.log(sizes), np.arange(len(sizes), dtype=float)
    u = np.clip(floor / sizes, 1e-3, 1.0)
    weight = 1.0 / u**2
    centre = np.sum(weight * n) / weight.sum()
    spread = np.sum(weight * (n - centre) ** 2)
    slope = float(np.sum(weight * (n - centre) * y) / spread)
    level = float(np.sum(weight * y) / weight.sum())
    residual = y - level - slope * (n - centre)
    spare = len(n) - 2
    scatter = float(np.sqrt(np.sum(weight * residual**2) / spare)) if spare > 0 else 1.0
    return Estimate(value=-slope, standard_uncertainty=max(scatter, 1.0) / float(np.sqrt(spread)))
