"""How force becomes sound: panels and castings as sums of damped modes, as impulse responses."""

from __future__ import annotations

import numpy as np

from spinlab.simulate.streams import Samples


def modal_response(
    rng: np.random.Generator,
    rate_hz: float,
    *,
    low_hz: float,
    high_hz: float,
    modes: int,
    damping: tuple[float, float],
    direct: float = 0.0,
    scatter_db: float = 5.0,
) -> Samples:
    """Impulse response of `modes` damped modes, drawn log-uniformly between two frequencies.

    Scaled to unit mean-square gain between `low_hz` and `high_hz`; `direct` is the share of the
    force that is heard without any resonance.
    """
    top = min(high_hz, 0.45 * rate_hz)
    pitch = np.sort(np.exp(rng.uniform(np.log(low_hz), np.log(top), modes)))
    loss = rng.uniform(*damping, modes)
    size = 10.0 ** (rng.normal(0.0, scatter_db, modes) / 20.0) * rng.choice([-1.0, 1.0], modes)
    length = int(min(5.0 / (loss * 2.0 * np.pi * pitch).min(), 0.25) * rate_hz)
    time_s = np.arange(length) / rate_hz
    pulse = 2.0 * np.pi * pitch[:, None]
    each = np.exp(-loss[:, None] * pulse * time_s) * np.sin(pulse * time_s)
    # Each mode peaks at 1/(2 loss) times its static gain: scale so that `size` is the peak.
    response = (size * 2.0 * loss * pulse[:, 0] / rate_hz) @ each
    response[0] += direct
    return _unit_gain(response, rate_hz, low_hz, top)


def shaped_noise_response(
    rng: np.random.Generator,
    rate_hz: float,
    *,
    tilt_db_per_octave: float,
    ripple_db: float,
    low_hz: float = 60.0,
) -> Samples:
    """Impulse response that turns white noise into sound of a given tilt with random ripple."""
    size = 2048
    pitch = np.fft.rfftfreq(size, 1.0 / rate_hz)
    octaves = np.log2(np.maximum(pitch, 20.0) / 1000.0)
    knots = np.arange(-6.0, 6.0, 0.5)
    level = tilt_db_per_octave * octaves
    level += np.interp(octaves, knots, rng.normal(0.0, ripple_db, len(knots)))
    shape = 10.0 ** (level / 20.0) * pitch / np.sqrt(pitch**2 + low_hz**2)
    response = np.fft.irfft(shape, size)
    response = np.fft.fftshift(response) * np.hanning(size)
    top = min(7000.0, 0.45 * rate_hz)
    share = (top - 100.0) / (0.5 * rate_hz)  # of white noise's power that falls into the band
    scaled: Samples = _unit_gain(response, rate_hz, 100.0, top) / np.float32(np.sqrt(share))
    return scaled


def _unit_gain(response: np.ndarray, rate_hz: float, low_hz: float, high_hz: float) -> Samples:
    size = 1 << int(np.ceil(np.log2(max(len(response), 2048))))
    pitch = np.fft.rfftfreq(size, 1.0 / rate_hz)
    power = np.abs(np.fft.rfft(response, size)) ** 2
    inside = (pitch >= low_hz) & (pitch <= high_hz)
    result: Samples = (response / np.sqrt(power[inside].mean())).astype(np.float32)
    return result


def convolve(signal: Samples, response: Samples) -> Samples:
    """Causal convolution, the length of `signal` (overlap-add with real float32 FFTs)."""
    from scipy import fft

    size = 1 << max(15, int(np.ceil(np.log2(len(response) * 4))))
    step = size - len(response) + 1
    filter_spectrum = fft.rfft(response, size)
    blocks = -(-len(signal) // step)
    padded = np.zeros(blocks * step, dtype=np.float32)
    padded[: len(signal)] = signal
    out = np.zeros(blocks * step + size, dtype=np.float32)
    for first in range(0, blocks * step, step):
        spectrum = fft.rfft(padded[first : first + step], size)
        out[first : first + size] += fft.irfft(spectrum * filter_spectrum, size)
    kept: Samples = out[: len(signal)]
    return kept
