"""A spectrogram's ridge in a band set by hand, as one does with a general signal toolbox.

The hand is generous: for each plateau it knows the asked speed, the drive's nominal ratio and the
motor's counts, looks at every line that these allow, and takes the one that stands out most.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.simulate import Parameters
from tests.benchmarks.methods import resampled

Floats = NDArray[np.float64]
RATE_HZ = 16_000
WINDOW_S = 0.5
OVERLAP = 0.75
PADDING = 4
HALF_BAND = 0.08  # of the line's pitch, about the asked speed
LEAST_PROMINENCE_DB = 10.0
HIGHEST_HZ = 7000.0
LOWEST_HZ = 60.0


def possible_orders(p: Parameters) -> list[float]:
    """Orders of the drum at which its motor may be heard, from the service papers' counts."""
    drive = p.drive
    ratio = drive.ratio if drive.kind != "direct" else 1.0
    counts = {1, 2, 2 * drive.pole_pairs, 6 * drive.pole_pairs, drive.slots, 2 * drive.slots}
    counts |= {n for n in (drive.commutator_bars, 2 * drive.commutator_bars, drive.fan_blades) if n}
    return sorted(ratio * count for count in counts)


def read_plateaus(
    recording: Recording, p: Parameters, spans: Sequence[tuple[float, float, float]]
) -> list[float | None]:
    """A speed (rpm) for each (asked rpm, start s, end s), None where no line stands out."""
    from scipy.signal import spectrogram

    size = int(WINDOW_S * RATE_HZ)
    pitch, time, power = spectrogram(
        resampled(recording, RATE_HZ),
        fs=RATE_HZ,
        window="hann",
        nperseg=size,
        noverlap=int(OVERLAP * size),
        nfft=PADDING * size,
    )
    readings = []
    for asked, start, end in spans:
        inside = (time >= start + 0.5 * WINDOW_S) & (time <= end - 0.5 * WINDOW_S)
        if not inside.any():
            inside = (time >= start) & (time <= end)
        lines = [
            (*line_in_band(pitch, power[:, inside], order * asked / 60.0), order)
            for order in possible_orders(p)
            if LOWEST_HZ < order * asked / 60.0 < HIGHEST_HZ
        ]
        best = max(lines, default=(0.0, 0.0, 1.0))
        readings.append(60.0 * best[1] / best[2] if best[0] >= LEAST_PROMINENCE_DB else None)
    return readings


def line_in_band(pitch_hz: Floats, power: Floats, centre_hz: float) -> tuple[float, float]:
    """Prominence (dB) and median pitch (Hz) of the ridge around `centre_hz`.

    Args:
        pitch_hz: shape (bins,), uniform.
        power: shape (bins, frames).
        centre_hz: where the line is expected.
    """
    band = np.flatnonzero(np.abs(pitch_hz / centre_hz - 1.0) <= HALF_BAND)
    if len(band) < 3 or not power.shape[1]:
        return 0.0, centre_hz
    part = power[band] + 1e-30
    peak = np.argmax(part, axis=0)
    over = part.max(axis=0) / np.median(part, axis=0)
    inner = np.clip(peak, 1, len(band) - 2)
    frames = np.arange(part.shape[1])
    left, middle, right = (np.log(part[inner + shift, frames]) for shift in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    slip = np.where(bend < -1e-12, 0.5 * (left - right) / np.minimum(bend, -1e-12), 0.0)
    step = pitch_hz[1] - pitch_hz[0]
    ridge = pitch_hz[band][inner] + step * np.clip(slip, -0.5, 0.5)
    return float(10.0 * np.log10(np.median(over))), float(np.median(ridge))
