"""Brush arcing: broadband crackle, gated by the mains and by the commutator's bars.

An arc is a burst of broadband noise each time a bar leaves a brush under current.  Of a mains-fed
commutator motor the current peaks twice per mains period, so the crackle swells at 100 or 120 Hz;
its samples are heavy-tailed where rolling and air noise are close to normal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import Estimate, SpeedTrack

BAND_HZ = (4000.0, 14000.0)
LEAST_RATE_HZ = 16000.0
_PIECE_S = 2.0
_MOST_PIECES = 12
SLOW_RATE_HZ = 1000.0  # enough for twice the mains
FAST_RATE_HZ = 24000.0  # enough for the commutator bars


@dataclass(frozen=True, kw_only=True)
class Arcing:
    """Signs of arcing in the high band.

    Attributes:
        mains_index: modulation index of the high band's power at twice the mains.
        bar_index: the same at the commutator bars' rate; None without bars or band width.
        tail: excess kurtosis of the high band's samples, median over pieces (0: normal noise).
        band_hz: the band.
        reason: why there is no number; "" otherwise.
    """

    mains_index: Estimate | None = None
    bar_index: Estimate | None = None
    tail: float | None = None
    band_hz: tuple[float, float] | None = None
    reason: str = ""


def arcing(
    recording: Recording,
    track: SpeedTrack,
    *,
    mains_hz: float,
    ratio: float | None = None,
    commutator_bars: int | None = None,
    usable_band_hz: tuple[float, float] | None = None,
) -> Arcing:
    """Look for arcing in pieces of two seconds while the drum is driven.

    Args:
        recording: sound.
        track: the drum's speed.
        mains_hz: mains frequency.
        ratio, commutator_bars: give the bars' rate.
        usable_band_hz: what the recorder let through.
    """
    rate = recording.rate_hz
    high = min(BAND_HZ[1], 0.45 * rate, (usable_band_hz or (0.0, np.inf))[1])
    if rate < LEAST_RATE_HZ or high < 1.4 * BAND_HZ[0]:
        return Arcing(
            reason=say(
                "the recording holds nothing above {high:.0f} Hz; arcing crackles from 4 kHz up",
                high=high,
            )
        )
    pieces = _driven(recording, track)
    if not pieces:
        return Arcing(reason="the drum is driven for less than two seconds")
    mains, bars, tails = [], [], []
    for start in pieces:
        piece = recording.cut(start, start + _PIECE_S)
        band = _high_part(piece.samples.mean(axis=0), rate, high)
        power = band.astype(np.float64) ** 2
        slow, time = _thinned(power, rate, piece.start_s, SLOW_RATE_HZ)
        mains.append(_index(slow, 2.0 * np.pi * 2.0 * mains_hz * time))
        if ratio is not None and commutator_bars is not None:
            fast, time = _thinned(power, rate, piece.start_s, FAST_RATE_HZ)
            coarse = np.linspace(time[0], time[-1], 200)
            turns = np.interp(time, coarse, track.turns_at(coarse))
            bars.append(_index(fast, 2.0 * np.pi * turns * ratio * commutator_bars))
        tails.append(float(np.mean(power**2) / np.mean(power) ** 2 - 3.0))
    return Arcing(
        mains_index=_mean(mains),
        bar_index=_mean(bars) if bars else None,
        tail=float(np.median(tails)),
        band_hz=(BAND_HZ[0], float(high)),
    )


def _driven(recording: Recording, track: SpeedTrack) -> list[float]:
    """Starts of two-second pieces with the drum above 300 rpm and not coasting."""
    starts = []
    now = recording.start_s
    while now + _PIECE_S <= recording.end_s:
        inside = (track.time_s >= now) & (track.time_s < now + _PIECE_S)
        speed = track.speed_rpm[inside]
        if (
            inside.any()
            and np.all(speed > 300.0)
            and not np.any(track.motion[inside] == "coasting")
        ):
            starts.append(now)
        now += _PIECE_S
    step = max(1, -(-len(starts) // _MOST_PIECES))
    return starts[::step]


def _high_part(x: NDArray[np.float32], rate: float, high: float) -> NDArray[np.float32]:
    from scipy.fft import irfft, rfft

    spectrum = rfft(x)
    frequency = np.arange(len(spectrum)) * rate / len(x)
    spectrum[(frequency < BAND_HZ[0]) | (frequency > high)] = 0.0
    return np.asarray(irfft(spectrum, n=len(x)), dtype=np.float32)


def _thinned(
    power: NDArray[np.float64], rate: float, start_s: float, wanted_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means over as many samples as leave about `wanted_hz`, and their times."""
    factor = max(1, int(rate // wanted_hz))
    count = len(power) // factor
    means = power[: count * factor].reshape(count, factor).mean(axis=1)
    time = start_s + (np.arange(count, dtype=np.float64) + 0.5) * (factor / rate)
    return np.asarray(means), time


def _index(power: NDArray[np.float64], angle: NDArray[np.float64]) -> tuple[float, float]:
    """First order of power over its mean at an angle, and its noise just beside that rate."""
    weighted = np.hanning(len(power)) * power
    turned = weighted * np.exp(-1j * angle)
    spectrum = 2.0 * np.abs(np.fft.fft(turned)) / np.sum(weighted)
    beside = spectrum[[-9, -7, -5, 5, 7, 9]]
    return float(spectrum[0]), float(np.sqrt(np.mean(beside**2)))


def _mean(pairs: list[tuple[float, float]]) -> Estimate:
    """Root mean square of the index over the pieces, noise power removed."""
    line, noise = np.array(pairs).T
    square = float(np.mean(line**2) - np.mean(noise**2))
    noise_square = float(np.mean(noise**2)) / np.sqrt(len(pairs))
    value = float(np.sqrt(max(square, 0.0)))
    u = noise_square / (2.0 * max(value, np.sqrt(noise_square)))
    return Estimate(
        value=value, standard_uncertainty=float(max(u, line.std() / np.sqrt(len(line))))
    )
