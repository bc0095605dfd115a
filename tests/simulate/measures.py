"""Plain measurements for the tests, written without the package's own analysis."""

import numpy as np
from scipy.signal import butter, sosfiltfilt


def line_amplitude(sound, turns, order):
    """Amplitude of what is coherent with `order` times an angle (in turns)."""
    wave = np.exp(-2j * np.pi * order * turns)
    return 2.0 * abs(np.mean(sound * wave))


def band(sound, rate_hz, low_hz, high_hz):
    """Zero-phase band-pass."""
    sections = butter(4, [low_hz, high_hz], "bandpass", fs=rate_hz, output="sos")
    return sosfiltfilt(sections, np.asarray(sound, dtype=np.float64))


def power_within(sound, rate_hz, low_hz, high_hz):
    """Mean square between two frequencies, by Parseval."""
    spectrum = np.abs(np.fft.rfft(np.asarray(sound, dtype=np.float64))) ** 2
    pitch = np.fft.rfftfreq(len(sound), 1.0 / rate_hz)
    inside = (pitch >= low_hz) & (pitch <= high_hz)
    return float(2.0 * spectrum[inside].sum() / len(sound) ** 2)


def rms(sound):
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))


def decibels(ratio):
    """Amplitude ratio in dB."""
    return 20.0 * np.log10(ratio)


def envelope_lines(sound, turns, orders, *, background=(0.35, 0.02)):
    """Power of the squared envelope at each order over the median of orders close by."""
    power = np.square(sound, dtype=np.float64)
    power = power - power.mean()
    reach, gap = background
    result = []
    for order in orders:
        near = order + np.concatenate([np.linspace(-reach, -gap, 60), np.linspace(gap, reach, 60)])
        size = np.array([line_amplitude(power, turns, o) for o in near])
        result.append(line_amplitude(power, turns, order) / np.median(size))
    return np.array(result)
