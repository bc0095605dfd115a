"""Listening: from a recording of either kind to the maps that tracking reads.

Sound gives tones in three bands and beats in many carrier bands.  An acceleration log gives the
drum's first orders directly, in one band of its strongest direction, and no beats.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.recording import Recording
from spinlab.speed.bands import LOWEST_TONE_HZ, Band, tone_bands
from spinlab.speed.evidence import Floats
from spinlab.speed.maps import Maps, make_maps
from spinlab.speed.modulation import Envelopes, band_envelopes

HIGHEST_TONE_HZ = 8000.0
# Share of an acceleration log's rate that is used: up to just below the folding frequency.
USABLE_SHARE = 0.46
ACCELERATION_FRAME_S = 2.0
LOWEST_ACCELERATION_HZ = 0.8


@dataclass(frozen=True, kw_only=True, eq=False)
class Listened:
    """Maps, bands and envelopes of one recording, and what its kind lets one assume.

    Attributes:
        first_order_felt: True where the strongest moving line is the drum itself, as a
            sensor on the cabinet feels it.
    """

    maps: Maps
    bands: tuple[Band, ...]
    envelopes: Envelopes | None
    start_s: float
    first_order_felt: bool


def listen(recording: Recording, *, lowest_hz: float) -> Listened:
    """Bands, envelopes and maps of a recording; `lowest_hz` is the slowest rate looked for."""
    if recording.kind == "sound":
        bands = tone_bands(recording, highest_hz=HIGHEST_TONE_HZ)
        envelopes: Envelopes | None = band_envelopes(recording, highest_hz=HIGHEST_TONE_HZ)
        lowest_tone_hz = LOWEST_TONE_HZ
    else:
        bands = (acceleration_band(recording),)
        envelopes = None
        lowest_tone_hz = LOWEST_ACCELERATION_HZ
    maps = make_maps(
        bands,
        envelopes.paired() if envelopes else None,
        start_s=recording.start_s,
        duration_s=recording.duration_s,
        lowest_hz=lowest_hz,
        lowest_tone_hz=lowest_tone_hz,
    )
    return Listened(
        maps=maps,
        bands=bands,
        envelopes=envelopes,
        start_s=recording.start_s,
        first_order_felt=recording.kind == "acceleration",
    )


def acceleration_band(recording: Recording) -> Band:
    """The direction of strongest motion of an acceleration log, as one tone band.

    Raw kilohertz sensors are decimated to what a drum's low orders need.
    """
    from scipy.signal import resample_poly

    signal = principal_direction(recording.samples)
    factor = max(1, int(recording.rate_hz / 900.0))
    rate_hz = recording.rate_hz / factor
    if factor > 1:
        signal = resample_poly(signal, 1, factor).astype(np.float32)
    return Band(
        signal=signal,
        rate_hz=rate_hz,
        low_hz=LOWEST_ACCELERATION_HZ,
        high_hz=USABLE_SHARE * rate_hz,
        frame_s=ACCELERATION_FRAME_S,
        follow_s=1.25 * ACCELERATION_FRAME_S,
    )


def principal_direction(samples: Floats) -> Floats:
    """Samples along the axis of largest variance, mean removed; shape (n,)."""
    finite = np.nan_to_num(samples)
    centred = finite - finite.mean(axis=1, keepdims=True)
    if len(centred) == 1:
        return centred[0].astype(np.float32)
    covariance = centred @ centred.T
    _, vectors = np.linalg.eigh(covariance.astype(np.float64))
    return (vectors[:, -1] @ centred).astype(np.float32)
