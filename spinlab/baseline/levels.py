"""What is kept of one recording: levels at fixed places of its order spectra, speed by speed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinlab.analysis import Analysis
from spinlab.baseline.value import Where
from spinlab.comparison.align import SAME_SPEED, SpeedBin
from spinlab.comparison.allowed import at_rate
from spinlab.comparison.spectra import (
    LeveledSpectrum,
    envelope_spectra,
    signal_spectrum,
)
from spinlab.comparison.statistics import DB_PER_NEPER
from spinlab.envelope.kurtosis import Band

Array = NDArray[np.float64]

# Places a quarter of an order wide hold a bearing's line with its slip up to order 12, and keep
# the drum's multiples apart from what lies between them.
PLACE_ORDERS = 0.25
HIGHEST_ORDER = 20.0
_ORDERS_OF_LOG = (1.0, 2.0)


def place_orders() -> Array:
    """Middles of the places."""
    return np.arange(0.5, HIGHEST_ORDER - 0.5 * PLACE_ORDERS, PLACE_ORDERS)


def levels_of_sound(
    analysis: Analysis,
    one: SpeedBin,
    number: int,
    bands: Sequence[Band],
    *,
    rate_hz: float,
    usable_band_hz: tuple[float, float],
    top_rpm: float,
) -> dict[Where, Array]:
    """Level over the own noise floor at every place, nan where there is none.

    Args:
        analysis: of a sound recording.
        one: the speed.
        number: the recording's place among the bin's.
        bands: envelopes' bands.
        rate_hz: sample rate that all recordings share.
        usable_band_hz: what all of them hold.
        top_rpm: highest speed of the baseline, which sets the envelopes' time window.
    """
    recording = at_rate(analysis.recording, rate_hz)
    spans, speed = one.spans[number], one.speed_rpm
    found: dict[Where, Array] = {}
    if not spans:
        return found
    own = signal_spectrum(
        recording,
        analysis.track,
        spans,
        steady_hz=[line.frequency_hz for line in analysis.track.steady_lines],
        usable_band_hz=usable_band_hz,
    )
    if own is not None:
        found[Where(speed_rpm=speed, measure="signal")] = _at_places(own)
    envelopes = envelope_spectra(recording, analysis.track, spans, bands, top_rpm=top_rpm)
    for band, spectrum in zip(bands, envelopes or (), strict=False):
        found[Where(speed_rpm=speed, measure="envelope", band=band)] = _at_places(spectrum)
    return found


def _at_places(spectrum: LeveledSpectrum) -> Array:
    """Mean power over the floor in each place, dB."""
    power = np.where(spectrum.free, spectrum.ratio, np.nan)
    levels = []
    for middle in place_orders():
        first = int(np.ceil((middle - 0.5 * PLACE_ORDERS) / spectrum.step - 1e-6))
        part = power[first : first + round(PLACE_ORDERS / spectrum.step)]
        levels.append(float(np.mean(part)) if len(part) and np.isfinite(part).all() else np.nan)
    return DB_PER_NEPER * np.log(np.maximum(np.array(levels), 1e-6))


def log_orders() -> Array:
    """Orders of a log's shaking that are kept."""
    return np.array(_ORDERS_OF_LOG)


def levels_of_log(analysis: Analysis, speed_rpm: float) -> dict[Where, Array]:
    """Amplitude of the first two orders in dB re 1 m/s2, nan where it was not measured."""
    if analysis.vibration is None:
        return {}
    levels = []
    for order in _ORDERS_OF_LOG:
        near = [
            level.total.acceleration_m_s2_peak
            for level in analysis.vibration.levels
            if level.order == order
            and level.total is not None
            and abs(level.span.speed_rpm - speed_rpm) <= SAME_SPEED * speed_rpm
        ]
        read = [e for e in near if e.value > 2.0 * e.standard_uncertainty]
        levels.append(2.0 * DB_PER_NEPER * np.log(read[0].value) if read else np.nan)
    values = np.array(levels, dtype=np.float64)
    if not np.isfinite(values).any():
        return {}
    return {Where(speed_rpm=speed_rpm, measure="signal"): values}
