"""How evenly a pump sounds: what tells water from air that it draws in.

In water the load on the vanes is steady; what swings is the gurgle, in the tone's band as in the
noise's.  Slugs of air take the load off and put it on again several times a second, and hiss as
they pass: the tone sinks when the noise rises.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.phases.value import Phase, PumpSound
from spinlab.vibration.loudness import Loudness

PIECE_S = 4.0
FLANK_S = 1.0  # the pump starts, fills and stops
SWING_HZ = (0.7, 8.0)
TONE_BELOW_HZ = 500.0
NOISE_ABOVE_HZ = 1200.0
_RATE_HZ = 40.0


def with_pump_sound(phase: Phase, sound: Loudness) -> Phase:
    """The phase, with how it sounds if it is a pump's and lasts long enough."""
    start, end = phase.start_s + FLANK_S, phase.end_s - FLANK_S
    inside = np.flatnonzero((sound.time_s >= start) & (sound.time_s < end))
    if phase.label != "pump" or end - start < PIECE_S or len(inside) < 50:
        return phase
    tone_rows = sound.bands_hz[:, 1] <= TONE_BELOW_HZ
    noise_rows = sound.bands_hz[:, 0] >= NOISE_ABOVE_HZ
    if not tone_rows.any() or not noise_rows.any():
        return phase
    moved, rate = swing(sound, inside)
    size = round(PIECE_S * rate)
    pieces = [slice(k * size, (k + 1) * size) for k in range(moved.shape[1] // size)]
    tone, noise = (
        tuple(float(moved[rows, piece].std(axis=1).mean()) for piece in pieces)
        for rows in (tone_rows, noise_rows)
    )
    together = tuple(
        _correlation(moved[tone_rows, piece].mean(axis=0), moved[noise_rows, piece].mean(axis=0))
        for piece in pieces
    )
    level = sound.power[tone_rows].sum(axis=0, dtype=np.float64)
    quiet = float(np.quantile(level, 0.05))
    above = 10.0 * np.log10(float(np.median(level[inside])) / max(quiet, 1e-16))
    pump = PumpSound(
        start_s=tuple(start + k * PIECE_S for k in range(len(pieces))),
        tone_swing_db=tone,
        noise_swing_db=noise,
        together=together,
        above_quiet_db=float(above),
    )
    return replace(phase, pump=pump)


def swing(sound: Loudness, inside: NDArray[np.intp]) -> tuple[NDArray[np.float64], float]:
    """Level of each band within `SWING_HZ`, dB, and its rate."""
    from scipy.signal import butter, sosfiltfilt

    level, rate = sound.levels_db(inside, _RATE_HZ)
    band = butter(2, SWING_HZ, "bandpass", fs=rate, output="sos")
    return np.asarray(sosfiltfilt(band, level, axis=1)), rate


def _correlation(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Correlation of two series; 0 where one of them does not move at all."""
    a, b = a - a.mean(), b - b.mean()
    both = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / both if both > 0.0 else 0.0
