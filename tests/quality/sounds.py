"""Invented sounds with known faults for the quality record; nothing here was measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from spinlab.recording import Recording, Source

RATE_HZ = 48_000
Samples = NDArray[np.float64]


def sound(samples: Samples, *, rate_hz: float = RATE_HZ, bits: int | None = 16) -> Recording:
    """A recording of one row (n,) or several (channels, n)."""
    return Recording(
        kind="sound",
        samples=np.atleast_2d(samples).astype(np.float32),
        rate_hz=rate_hz,
        source=Source(file="invented.wav", sha256="", bits=bits),
    )


def pink(seconds: float, *, seed: int = 0, level: float = 0.05) -> Samples:
    """Noise that falls by 3 dB an octave, as a machine's does roughly."""
    count = round(seconds * RATE_HZ)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=count))
    frequency = np.fft.rfftfreq(count, 1 / RATE_HZ)
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(frequency, 20.0)), count)
    return noise / noise.std() * level


def machine(
    seconds: float, first_rpm: float, last_rpm: float, *, depth: float = 0.3, ratio: float = 10.0
) -> Samples:
    """Noise modulated by the drum, motor orders and mains hum; a ramp between two plateaus."""
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    corners = np.array([0.0, 0.3, 0.7, 1.0]) * seconds
    rate = np.interp(time, corners, np.array([first_rpm, first_rpm, last_rpm, last_rpm]) / 60)
    turn = 2 * np.pi * np.cumsum(rate) / RATE_HZ
    noise = pink(seconds) * (1 + depth * np.sin(turn) + depth / 2 * np.sin(2 * turn))
    orders = sum(0.03 / k * np.sin(k * ratio * turn + k) for k in range(1, 9))
    hum = sum(0.02 / k * np.sin(2 * np.pi * 100 * k * time) for k in (1, 2, 3))
    return noise + orders + hum


def knocks(seconds: float, count: int, *, decay_s: float = 0.02) -> Samples:
    """Noise bursts at even distances."""
    rng = np.random.default_rng(7)
    bursts = np.zeros(round(seconds * RATE_HZ))
    length = round(0.6 * RATE_HZ)
    for time in np.linspace(1.3, seconds - 2, count):
        first = round(time * RATE_HZ)
        fall = np.exp(-np.arange(length) / (decay_s * RATE_HZ))
        bursts[first : first + length] += 0.8 * fall * rng.normal(size=length)
    return bursts


def gain_controlled(samples: Samples, *, attack_s: float = 0.02, release_s: float = 1.5) -> Samples:
    """A textbook automatic gain control: fast down, slow up, towards one level."""
    hop = 48
    level = np.sqrt(np.add.reduceat(samples**2, np.arange(0, len(samples), hop)) / hop)
    follow = [1 - np.exp(-hop / RATE_HZ / time) for time in (attack_s, release_s)]
    state, gains = level[0], []
    for value in level:
        state += follow[0 if value > state else 1] * (value - state)
        gains.append(min(20.0, 0.1 / max(state, 1e-6)))
    controlled = samples * np.repeat(gains, hop)[: len(samples)]
    return controlled / np.abs(controlled).max() * 0.8


def speech(seconds: float, *, seed: int = 0, pitch_hz: float = 120.0) -> Samples:
    """A voice by source and filter (Fant 1960): syllables, vowels, intonation, pauses.

    Four to five syllables a second (Houtgast and Steeneken 1985), vowels by two resonances each
    (Peterson and Barney 1952), fricative noise between.
    """
    rng = np.random.default_rng(seed)
    vowels = ((730, 1090), (270, 2290), (300, 870), (530, 1840), (570, 840))
    parts: list[Samples] = []
    while sum(map(len, parts)) < seconds * RATE_HZ:
        voiced = round(rng.uniform(0.1, 0.2) * RATE_HZ)
        glide = pitch_hz * 2 ** (rng.normal(0, 0.12) + np.linspace(0, rng.normal(0, 0.15), voiced))
        cycle = np.cumsum(glide) / RATE_HZ
        pulses = np.diff(np.floor(cycle), prepend=0.0)
        for formant in vowels[rng.integers(len(vowels))]:
            radius = np.exp(-np.pi * 80 / RATE_HZ)
            turn = 2 * np.cos(2 * np.pi * formant / RATE_HZ)
            pulses = lfilter([1.0], [1.0, -radius * turn, radius**2], pulses)
        shape = np.hanning(voiced)
        parts.append(pulses / (np.abs(pulses).max() + 1e-12) * shape)
        rest = round(rng.uniform(0.04, 0.12) * RATE_HZ)
        parts.append(0.05 * np.hanning(rest) * rng.normal(size=rest))
    voice = np.concatenate(parts)[: round(seconds * RATE_HZ)]
    return 0.3 * voice / np.abs(voice).max()


def thinned(samples: Samples, *, size: int = 1024) -> Samples:
    """Spectral subtraction (Boll 1979) without a floor: the crudest noise suppression."""
    window = np.sqrt(np.hanning(size + 1)[:-1])
    starts = range(0, len(samples) - size, size // 2)
    frames = np.stack([np.fft.rfft(samples[s : s + size] * window) for s in starts])
    magnitude = np.abs(frames)
    gain = np.maximum(0.0, 1 - 1.2 * magnitude.mean(axis=0) / np.maximum(magnitude, 1e-12))
    out = np.zeros(len(samples))
    for start, frame in zip(starts, frames * gain, strict=True):
        out[start : start + size] += np.fft.irfft(frame, size) * window
    return out
