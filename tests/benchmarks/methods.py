"""General-purpose ways to a drum's speed that a competent engineer would script instead.

Each takes sound and returns frames of time (s) and drum speed (rpm), nan where the method itself
declines.  Each is given more than the tracker gets: the drive's nominal ratio where it needs one,
and a search range that suits the drum.  Settings were chosen on the tuning range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.simulate import Parameters

Floats = NDArray[np.float64]

AUDIO_HZ, ENVELOPE_HZ, MOTOR_HZ = 1000, 500, 4000
ENVELOPE_BAND_HZ = (500.0, 3500.0)
DRUM_HZ = (5.0, 28.0)  # 300 to 1680 rpm
HOP_S = 0.1
FRAME_S = 2.0  # shorter frames lost more plateaus, longer ones blur the ramps
TROUGH = 0.4  # yin's threshold; its default of 0.1 lost more
PITCH_STEP = 0.05  # semitones: a grid of 0.29 %, so at most 0.15 % off
FASTEST_OCTAVES_PER_S = 2.0  # a spin's ramps stay below this


@dataclass(frozen=True, kw_only=True, eq=False)
class Frames:
    """Frame centres (s) and drum speeds (rpm), both of shape (n,)."""

    time_s: Floats
    speed_rpm: Floats


def resampled(recording: Recording, rate_hz: int) -> Floats:
    """The first channel at another rate."""
    from scipy.signal import resample_poly

    sound = recording.samples[0].astype(np.float64)
    return np.asarray(resample_poly(sound, rate_hz, round(recording.rate_hz)))


def envelope(recording: Recording) -> Floats:
    """The band's envelope at a low rate: where rotation shows as a beat of the noise."""
    from scipy.signal import butter, decimate, hilbert, sosfiltfilt

    sound = resampled(recording, 16 * ENVELOPE_HZ)
    band = butter(4, ENVELOPE_BAND_HZ, "bandpass", fs=16 * ENVELOPE_HZ, output="sos")
    size = np.abs(hilbert(sosfiltfilt(band, sound)))
    slow = decimate(size, 16, ftype="fir")
    drift = butter(2, 3.0, "highpass", fs=ENVELOPE_HZ, output="sos")
    return np.asarray(sosfiltfilt(drift, slow))


def _yin(sound: Floats, rate_hz: int, low_hz: float, high_hz: float) -> Frames:
    """librosa.yin: de Cheveigne and Kawahara 2002."""
    import librosa

    size, hop = int(FRAME_S * rate_hz), int(HOP_S * rate_hz)
    pitch = librosa.yin(
        sound,
        fmin=low_hz,
        fmax=high_hz,
        sr=rate_hz,
        frame_length=size,
        hop_length=hop,
        trough_threshold=TROUGH,
    )
    return Frames(time_s=np.arange(len(pitch)) * hop / rate_hz, speed_rpm=60.0 * pitch)


def _pyin(sound: Floats, rate_hz: int, low_hz: float, high_hz: float) -> Frames:
    """librosa.pyin: Mauch and Dixon 2014."""
    import librosa

    size, hop = int(FRAME_S * rate_hz), int(HOP_S * rate_hz)
    pitch, voiced, _ = librosa.pyin(
        sound,
        fmin=low_hz,
        fmax=high_hz,
        sr=rate_hz,
        frame_length=size,
        hop_length=hop,
        resolution=PITCH_STEP,
        max_transition_rate=FASTEST_OCTAVES_PER_S,
    )
    time_s = np.arange(len(pitch)) * hop / rate_hz
    return Frames(time_s=time_s, speed_rpm=60.0 * np.where(voiced, pitch, np.nan))


def _motor_turns(p: Parameters) -> float:
    return p.drive.ratio if p.drive.kind != "direct" else 1.0


def _on_motor(
    pitch: Callable[[Floats, int, float, float], Frames], recording: Recording, p: Parameters
) -> Frames:
    """Pitch of the motor's whine, divided by the nominal ratio."""
    ratio = _motor_turns(p)
    found = pitch(
        resampled(recording, MOTOR_HZ),
        MOTOR_HZ,
        DRUM_HZ[0] * ratio,
        min(DRUM_HZ[1] * ratio, 0.45 * MOTOR_HZ),
    )
    return Frames(time_s=found.time_s, speed_rpm=found.speed_rpm / ratio)


def yin_audio(recording: Recording, p: Parameters) -> Frames:
    """Yin on the sound, searched at the drum's rate."""
    return _yin(resampled(recording, AUDIO_HZ), AUDIO_HZ, *DRUM_HZ)


def yin_envelope(recording: Recording, p: Parameters) -> Frames:
    """Yin on the envelope, searched at the drum's rate."""
    return _yin(envelope(recording), ENVELOPE_HZ, *DRUM_HZ)


def yin_motor(recording: Recording, p: Parameters) -> Frames:
    """Yin on the sound, searched at the motor's rate."""
    return _on_motor(_yin, recording, p)


def pyin_audio(recording: Recording, p: Parameters) -> Frames:
    """Probabilistic yin on the sound, searched at the drum's rate."""
    return _pyin(resampled(recording, AUDIO_HZ), AUDIO_HZ, *DRUM_HZ)


def pyin_envelope(recording: Recording, p: Parameters) -> Frames:
    """Probabilistic yin on the envelope, searched at the drum's rate."""
    return _pyin(envelope(recording), ENVELOPE_HZ, *DRUM_HZ)


def pyin_motor(recording: Recording, p: Parameters) -> Frames:
    """Probabilistic yin on the sound, searched at the motor's rate."""
    return _on_motor(_pyin, recording, p)


METHODS: dict[str, tuple[str, Callable[[Recording, Parameters], Frames]]] = {
    "yin audio": ("yin, sound, at the drum's rate", yin_audio),
    "yin envelope": ("yin, envelope", yin_envelope),
    "yin motor": ("yin, sound, at the motor's rate, nominal ratio", yin_motor),
    "pyin audio": ("pyin, sound, at the drum's rate", pyin_audio),
    "pyin envelope": ("pyin, envelope", pyin_envelope),
    "pyin motor": ("pyin, sound, at the motor's rate, nominal ratio", pyin_motor),
}
