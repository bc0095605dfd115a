"""From a clip's description to samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.clips.value import Clip
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

# Order of the Butterworth filters; run forward and back, so the slope is twice as steep and
# nothing is delayed.
_FILTER_ORDER = 4
# Share of the rate up to which a filter can be set, and the shortest piece that can be filtered.
_BAND_SHARE, _LEAST_SAMPLES = 0.49, 64
# Half-width of the band that follows an order: wide enough for the track's own wander.
_LEAST_HALF_WIDTH_HZ, _HALF_WIDTH_SHARE = 5.0, 0.02
# Loudest sample after amplification, and the most that a faint part is raised.
PEAK, MOST_GAIN_DB = 0.7, 40.0
# A clip begins and ends softly, so that the cut itself is not heard as a knock.
_FADE_S = 0.03


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """A finished clip.

    Attributes:
        samples: shape (n,), float32, full scale 1.
        rate_hz: at which the samples are to be played; lower than the recording's for a slow clip.
        gain_db: how much louder than recorded.
    """

    samples: NDArray[np.float32]
    rate_hz: float
    gain_db: float


def heard(recording: Recording, track: SpeedTrack, clip: Clip) -> Heard:
    """The samples of a clip: channels mixed, filtered without delay, raised, slowed.

    Slowing leaves the samples as they are and lowers their rate, so pitch falls with the pace and
    the spacing of knocks stays true.

    Args:
        recording: a sound recording.
        track: the drum's speed, for clips that follow an order.
        clip: what to take.
    """
    piece = recording.cut(clip.start_s, clip.end_s)
    mono = np.nan_to_num(piece.samples.mean(axis=0, dtype=np.float64))
    if clip.order is not None:
        part = _follow(mono, piece, track, clip.order)
    elif clip.band_hz is not None:
        part = _band(mono, piece.rate_hz, clip.band_hz)
    else:
        part = mono
    fade = np.minimum(1.0, (np.arange(len(part)) + 1) / max(1.0, _FADE_S * piece.rate_hz))
    part = part * fade * fade[::-1]
    loudest = float(np.max(np.abs(part), initial=0.0))
    most = 10.0 ** (MOST_GAIN_DB / 20.0)
    gain = min(PEAK / loudest, most) if loudest > 0 else 1.0
    return Heard(
        samples=(gain * part).astype(np.float32),
        rate_hz=piece.rate_hz * clip.pace,
        gain_db=20.0 * float(np.log10(gain)),
    )


def _band(
    mono: NDArray[np.float64], rate_hz: float, band_hz: tuple[float, float]
) -> NDArray[np.float64]:
    from scipy.signal import butter, sosfiltfilt

    low, high = band_hz
    if low >= _BAND_SHARE * rate_hz or len(mono) < _LEAST_SAMPLES:
        return np.zeros(len(mono))
    if high >= _BAND_SHARE * rate_hz:
        sections = butter(_FILTER_ORDER, low, "highpass", fs=rate_hz, output="sos")
    else:
        sections = butter(_FILTER_ORDER, (low, high), "bandpass", fs=rate_hz, output="sos")
    return np.asarray(sosfiltfilt(sections, mono, padlen=min(len(mono) - 1, round(rate_hz / 10))))


def _follow(
    mono: NDArray[np.float64], piece: Recording, track: SpeedTrack, order: float
) -> NDArray[np.float64]:
    """The line at one order alone: shifted to 0 Hz by the drum's own angle, filtered, and back."""
    from scipy.signal import butter, sosfiltfilt

    time_s = piece.start_s + np.arange(len(mono)) / piece.rate_hz
    carrier = np.exp(2j * np.pi * order * track.turns_at(time_s))
    speed = track.speed_at(time_s)
    known = np.isfinite(speed) & (speed > 0)
    if not known.any() or len(mono) < _LEAST_SAMPLES:
        return np.zeros(len(mono))
    middle_hz = order * float(np.median(speed[known])) / 60.0
    half = max(_LEAST_HALF_WIDTH_HZ, _HALF_WIDTH_SHARE * middle_hz)
    sections = butter(_FILTER_ORDER, half, "lowpass", fs=piece.rate_hz, output="sos")
    padding = min(len(mono) - 1, round(piece.rate_hz / 10))
    slow = sosfiltfilt(sections, mono * np.conj(carrier), padlen=padding)
    return np.where(known, 2.0 * np.real(slow * carrier), 0.0)
