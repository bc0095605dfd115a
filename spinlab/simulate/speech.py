"""Talk, invented by a source-filter model: pulses or hiss through three formants per syllable.

Source-filter theory of speech: Fant, Acoustic Theory of Speech Production, 1960.  Formants of
the vowels: rounded averages for adult speakers after Peterson and Barney (1952), value from
memory.  It says nothing; it has speech's pitch, harmonics, syllable rhythm and pauses.
"""

from __future__ import annotations

import numpy as np

from spinlab.simulate.streams import Samples

SPEECH_RATE_HZ = 16000.0
VOWELS_HZ = (
    (730, 1090, 2440),
    (270, 2290, 3010),
    (300, 870, 2240),
    (530, 1840, 2480),
    (570, 840, 2410),
    (660, 1720, 2410),
    (490, 1350, 1690),
)
BANDWIDTHS_HZ = (80.0, 110.0, 160.0)
RADIATION_ZERO = 0.95


def _vowel(rng: np.random.Generator, pitch_hz: float, count: int) -> np.ndarray:
    """One voiced syllable: a falling pulse train through the formants of one vowel."""
    from scipy.signal import lfilter

    glide = pitch_hz * np.linspace(1.0, rng.uniform(0.8, 1.1), count)
    glide *= 1.0 + 0.01 * np.sin(2.0 * np.pi * 5.0 * np.arange(count) / SPEECH_RATE_HZ)
    phase = np.cumsum(glide) / SPEECH_RATE_HZ
    pulses = np.diff(np.floor(phase), prepend=0.0)
    sound = lfilter([1.0], [1.0, -0.97], pulses) + 0.01 * rng.standard_normal(count)
    size = rng.uniform(0.92, 1.12)
    for formant, width in zip(VOWELS_HZ[rng.integers(len(VOWELS_HZ))], BANDWIDTHS_HZ, strict=True):
        radius = np.exp(-np.pi * width / SPEECH_RATE_HZ)
        turn = 2.0 * np.cos(2.0 * np.pi * formant * size / SPEECH_RATE_HZ)
        sound = lfilter([1.0 - radius], [1.0, -radius * turn, radius**2], sound)
    voiced: np.ndarray = lfilter([1.0, -RADIATION_ZERO], [1.0], sound)
    return voiced / max(float(np.std(voiced)), 1e-12)


def _hiss(rng: np.random.Generator, count: int) -> np.ndarray:
    """One unvoiced consonant: noise above 2.5 kHz, rising and falling."""
    noise = rng.standard_normal(count + 2)
    high = noise[2:] - 1.6 * noise[1:-1] + 0.7 * noise[:-2]
    return 0.25 * high * np.hanning(count)


def speech(rng: np.random.Generator, duration_s: float) -> Samples:
    """One talker at `SPEECH_RATE_HZ`, unit RMS over the whole."""
    total = np.zeros(int(duration_s * SPEECH_RATE_HZ) + 1, dtype=np.float32)
    voice_hz = rng.uniform(95.0, 230.0)
    clock_s = rng.uniform(0.0, 1.0)
    while clock_s < duration_s:
        phrase, declination = int(rng.integers(4, 13)), 1.15
        for _ in range(phrase):
            length_s = rng.uniform(0.12, 0.3)
            first, count = int(clock_s * SPEECH_RATE_HZ), int(length_s * SPEECH_RATE_HZ)
            pitch = voice_hz * declination * rng.uniform(0.9, 1.1)
            syllable = _vowel(rng, pitch, count) * np.hanning(count) ** 0.5
            syllable *= rng.uniform(0.5, 1.2)
            if rng.random() < 0.4:
                size = min(count, int(rng.uniform(0.05, 0.12) * SPEECH_RATE_HZ))
                syllable[:size] += _hiss(rng, size)
            stop = min(first + count, len(total))
            total[first:stop] += syllable[: max(stop - first, 0)]
            clock_s += length_s * rng.uniform(0.8, 1.05)
            declination -= 0.25 / phrase
        clock_s += rng.uniform(0.3, 1.5)
    return total / np.float32(max(float(np.std(total)), 1e-12))


def babble(rng: np.random.Generator, duration_s: float, talkers: int = 6) -> Samples:
    """Several talkers at once, unit RMS."""
    total = sum(speech(rng, duration_s) for _ in range(talkers))
    assert isinstance(total, np.ndarray)
    return total / np.float32(max(float(np.std(total)), 1e-12))
