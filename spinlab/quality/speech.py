"""How much of the time somebody speaks: syllables, voice and intonation must come together.

Speech rises and falls 3 to 8 times a second (Houtgast and Steeneken 1985), its voiced parts are
harmonic with a pitch of about 75 to 400 Hz, and pitch and voicing never stay put.  A machine's
rotation also modulates its noise at 3 to 8 Hz, but there is no pitch that comes and goes with
it; a machine's tones are harmonic, but they stand or glide on a straight line.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from spinlab.quality.frames import SPEECH_BANDS, Frames
from spinlab.recording import Recording

_WINDOW_S = 2.0
_STEP_S = 1.0
_SYLLABLES_HZ = (2.5, 9.0)
# Depth of the envelope's syllabic part; noise alone gives about 0.3 dB.
_DEPTH_DB = 0.7
_PITCH_FRAME_S = 0.07  # five periods of the lowest pitch
_VOICE_BAND_HZ = (100.0, 2000.0)
_PITCH_HZ = (75.0, 400.0)
_PITCHES = 240  # steps of 0.7 %
# Height of the pitch peak, 1 for a perfect comb; noise alone stays below 0.3.
_VOICED = 0.4
_VOICED_SHARE = (0.10, 0.85)
# Spread of the pitch about a straight line, in octaves: steady below, guesswork above.
_INTONATION_OCTAVES = (0.015, 0.45)
# Voice and loudness go together in speech.
_TOGETHER = 0.2


def speech_share(recording: Recording, channel: int, frames: Frames) -> float | None:
    """Share of the recording's time with speech; None where the telephone band is missing."""
    if recording.rate_hz < 6000 or recording.duration_s < _WINDOW_S:
        return None
    level = 10 * np.log10(np.maximum(frames.band_power[SPEECH_BANDS], 1e-20))
    size = round(_WINDOW_S / frames.step_s)
    spoken = np.zeros(level.shape[1], dtype=bool)
    for first, block in recording.blocks(_STEP_S, _WINDOW_S - _STEP_S):
        start = round(first / recording.rate_hz / frames.step_s)
        window = level[:, start : start + size]
        if window.shape[1] < size // 2:
            break
        rise = _rise(window)
        if _syllabic_depth_db(rise, frames.step_s) < _DEPTH_DB:
            continue
        if _is_voice(block[channel], recording.rate_hz, rise):
            spoken[start : start + size] = True
    return float(spoken.mean()) if spoken.size else None


def _rise(level: NDArray[np.floating]) -> NDArray[np.float64]:
    """How far the bands stand above their usual level, mean over the bands, per frame in dB."""
    usual = np.quantile(level, 0.3, axis=1, keepdims=True)
    return np.asarray(np.clip(level - usual, 0.0, 25.0).mean(axis=0), dtype=np.float64)


def _syllabic_depth_db(rise: NDArray[np.float64], step_s: float) -> float:
    """Standard deviation of the part of the envelope at the rate of syllables."""
    spectrum = rfft((rise - rise.mean()) * np.hanning(len(rise)))
    frequency = np.fft.rfftfreq(len(rise), step_s)
    inside = (frequency >= _SYLLABLES_HZ[0]) & (frequency <= _SYLLABLES_HZ[1])
    # Parseval for one side of the spectrum, and 3/8 for the window's mean square.
    return float(np.sqrt(2 * np.sum(np.abs(spectrum[inside]) ** 2) / (len(rise) ** 2 * 3 / 8)))


def _is_voice(samples: NDArray[np.float32], rate_hz: float, rise: NDArray[np.float64]) -> bool:
    """Whether pitch comes and goes with loudness, and moves like a voice's."""
    strength, pitch_hz = _pitch(samples, rate_hz)
    voiced = strength > _VOICED
    if not _VOICED_SHARE[0] <= voiced.mean() <= _VOICED_SHARE[1]:
        return False
    where = np.flatnonzero(voiced)
    octaves = np.log2(pitch_hz[voiced])
    spread = float(np.median(np.abs(octaves - _straight(where, octaves))) * 1.4826)
    if not _INTONATION_OCTAVES[0] <= spread <= _INTONATION_OCTAVES[1]:
        return False
    loudness = np.interp(np.linspace(0, 1, len(strength)), np.linspace(0, 1, len(rise)), rise)
    return float(np.corrcoef(strength, loudness)[0, 1]) > _TOGETHER


def _straight(x: NDArray[np.intp], y: NDArray[np.floating]) -> NDArray[np.float64]:
    """A straight line through the medians of the first and last third."""
    third = max(1, len(x) // 3)
    x0, x1 = np.median(x[:third]), np.median(x[-third:])
    y0, y1 = np.median(y[:third]), np.median(y[-third:])
    slope = (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
    return np.asarray(y0 + slope * (x - x0))


def _pitch(
    samples: NDArray[np.float32], rate_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Strength (1 for a cosine-shaped comb) and frequency of the pitch per frame.

    The spectrum is divided by its median over time, which leaves of a steady tone no more than of
    noise, compressed, and correlated with cosines over frequency: a cepstrum (Noll 1967) that
    keeps its sign, so only combs whose teeth are multiples of their spacing count.
    """
    size = 2 * round(_PITCH_FRAME_S * rate_hz / 2)
    parts = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
    magnitude = np.abs(rfft(parts * np.hanning(size).astype(np.float32), axis=1))
    low, high = (round(f * size / rate_hz) for f in _VOICE_BAND_HZ)
    band = magnitude[:, low:high]
    white = np.sqrt(np.minimum(band / np.maximum(np.median(band, axis=0), 1e-12), 30.0))
    white -= white.mean(axis=1, keepdims=True)
    spacing_hz = np.geomspace(*_PITCH_HZ, _PITCHES)
    cell_hz = np.arange(low, high) * rate_hz / size
    cosines = np.cos(2 * np.pi * cell_hz[:, None] / spacing_hz).astype(np.float32)
    power = np.maximum(np.sum(white**2, axis=1), 1e-12)
    match = white @ cosines / np.sqrt(0.5 * (high - low) * power)[:, None]
    best = np.argmax(match, axis=1)
    return match[np.arange(len(match)), best], spacing_hz[best]
