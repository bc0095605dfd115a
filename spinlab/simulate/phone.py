"""The phone: microphone response, its automatic processing, conversion, and what goes wrong."""

from __future__ import annotations

import numpy as np

from spinlab.simulate.parameters import Phone
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve

GAIN_RATE_HZ = 100.0
MINIMUM_BIAS = 3.0  # mean power of steady noise over its smoothed running minimum
LEAST_GAIN = 0.2
FULL_SCALE_16_BIT = 32768.0


def microphone_response(phone: Phone, rng: np.random.Generator) -> Samples:
    """Linear-phase impulse response: high-pass, ripple in 100-7000 Hz, roll-off above.

    The mobile platforms' published limits are +-10 dB in 100-7000 Hz and +-20 dB in 5-100 Hz
    for the unprocessed source.
    """
    size = 1 << int(np.ceil(np.log2(phone.rate_hz * 0.08)))
    pitch = np.fft.rfftfreq(size, 1.0 / phone.rate_hz)
    octaves = np.log2(np.maximum(pitch, 5.0) / 1000.0)
    knots = np.arange(-8.0, 6.0, 0.7)
    ripple = np.clip(rng.normal(0.0, 0.5 * phone.ripple_db, len(knots)), -8.0, 8.0)
    shape = 10.0 ** (np.interp(octaves, knots, ripple) / 20.0)
    shape *= pitch**2 / (pitch**2 + phone.high_pass_hz**2)
    shape /= np.sqrt(1.0 + (pitch / phone.roll_off_hz) ** 8)
    window = np.roll(np.hanning(size), size // 2)
    kept: Samples = (np.fft.irfft(shape, size) * window).astype(np.float32)
    return np.roll(kept, size // 2)


def hear(sound: Samples, response: Samples) -> Samples:
    """Through the microphone, without the delay of the linear-phase response."""
    half = len(response) // 2
    padded = np.concatenate([sound, np.zeros(half, dtype=np.float32)])
    return convolve(padded, response)[half:]


def automatic_gain(sound: Samples, rate_hz: float, strength: float) -> Samples:
    """Slow compressor: `strength` 1 holds the level, 0 does nothing; quick down, slow up."""
    step = int(rate_hz / GAIN_RATE_HZ)
    frames = len(sound) // step
    power = np.mean(sound[: frames * step].reshape(frames, step) ** 2, axis=1)
    level_db = 10.0 * np.log10(np.maximum(power, 1e-12))
    held, now = np.empty(frames), float(level_db[0])
    quick, slow = 1.0 / (0.05 * GAIN_RATE_HZ), 1.0 / (2.0 * GAIN_RATE_HZ)
    for n, value in enumerate(level_db.tolist()):
        now += (value - now) * (quick if value > now else slow)
        held[n] = now
    change_db = np.clip(-strength * (held - np.median(held)), -30.0, 30.0)
    factor = np.interp(np.arange(len(sound)) / step, np.arange(frames) + 0.5, change_db)
    result: Samples = sound * (10.0 ** (factor / 20.0)).astype(np.float32)
    return result


def suppress_noise(sound: Samples, rate_hz: float, strength: float) -> Samples:
    """Spectral subtraction that eats steady noise (Boll 1979, DOI 10.1109/TASSP.1979.1163209),
    its noise estimate being a running minimum-biased mean of each bin's power."""
    from scipy.ndimage import minimum_filter1d, uniform_filter1d
    from scipy.signal import istft, stft

    size = 1 << int(np.ceil(np.log2(0.02 * rate_hz)))
    _, _, spectrum = stft(sound, rate_hz, nperseg=size)
    power = uniform_filter1d(np.abs(spectrum) ** 2, 8, axis=1)
    span = max(int(1.5 * rate_hz / (size // 2)), 3)
    floor = minimum_filter1d(power, span, axis=1, origin=(span - 1) // 2) * MINIMUM_BIAS
    kept = np.maximum(1.0 - strength * floor / np.maximum(power, 1e-20), LEAST_GAIN**2)
    _, cleaned = istft(spectrum * np.sqrt(kept), rate_hz, nperseg=size)
    result: Samples = cleaned[: len(sound)].astype(np.float32)
    return result


def drop_out(
    sound: Samples, phone: Phone, seed: int
) -> tuple[Samples, tuple[tuple[float, float], ...]]:
    """Stretches of 20-200 ms set to zero; returns them in s of the file's clock."""
    rng = stream(seed, "dropouts")
    spans: list[tuple[float, float]] = []
    result = sound.copy()
    for _ in range(phone.dropouts):
        first = rng.uniform(0.0, sound.shape[-1] / phone.rate_hz - 0.3)
        last = first + rng.uniform(0.02, 0.2)
        result[..., int(first * phone.rate_hz) : int(last * phone.rate_hz)] = 0.0
        spans.append((float(first), float(last)))
    return result, tuple(sorted(spans))


def convert(sound: Samples, phone: Phone) -> Samples:
    """Clip at the converter's (or a chosen) ceiling and round to 16 bits."""
    ceiling = 1.0 if phone.clip_dbfs is None else min(gain(phone.clip_dbfs), 1.0)
    steps = np.rint(np.clip(sound, -ceiling, ceiling) * FULL_SCALE_16_BIT)
    result: Samples = np.clip(steps, -32768, 32767).astype(np.float32) / FULL_SCALE_16_BIT
    return result.astype(np.float32)
