"""How much of what a recording holds at a frequency is background, not the machine.

Background dilutes: noise that does not move with the drum fills the envelope's valleys and lifts
the floor under every line.  A phone laid farther away hears the same machine with shallower
modulation.  The background is bracketed: it is taken to be at least what is heard while the drum
stands still, and at most what is heard in the quietest moments of the spin, or twice what is heard
at rest, unless the phone may have thinned out the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.orders import Span
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

_FRAME_S = 0.25
_CELL_HZ = 60.0
# What is heard at rest is known to a quarter of itself where it is steady to 1 dB.
_KNOWN = 0.3
# A background that was heard at rest stays within 3 dB during one recording (common practice, no
# published source).
_STEADY = 2.0
# Less than this much rest tells nothing about a background.
_LEAST_REST_S = 0.8
# The quietest moments of the spin: this share of its seconds.
_QUIETEST = 0.05
_SLOWEST_SPIN_RPM = 150.0
# What is nearly all background tells nothing about the machine, however well that is known.
_MOST = 0.95
_DB_PER_NEPER = 20.0 / float(np.log(10.0))
_MOST_DB = 40.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Background:
    """The background's power over frequency, bracketed.

    Attributes:
        frequency_hz: shape (n,).
        least, most: shape (n,), mean square per cell.
    """

    frequency_hz: Array
    least: Array
    most: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Share:
    """Share of the background at one speed.

    Attributes:
        frequency_hz: shape (n,).
        share: shape (n,), 0 to 0.95.
        standard_uncertainty: shape (n,).
    """

    frequency_hz: Array
    share: Array
    standard_uncertainty: Array

    def machine(self, low_hz: float, high_hz: float) -> tuple[float, float]:
        """The machine's share between two frequencies, and its standard uncertainty in dB (20 lg).

        Every cell counts alike, as it does in a whitened envelope; what is not known of one cell
        is not known of its neighbours either.
        """
        inside = (self.frequency_hz >= low_hz) & (self.frequency_hz <= high_hz)
        if not inside.any():
            middle = 0.5 * (low_hz + high_hz)
            inside = np.arange(len(self.share)) == np.argmin(np.abs(self.frequency_hz - middle))
        noise = float(np.mean(self.share[inside]))
        unknown = float(np.mean(self.standard_uncertainty[inside])) / (1.0 - noise)
        return 1.0 - noise, min(_DB_PER_NEPER * unknown, _MOST_DB)


def background(recording: Recording, track: SpeedTrack, *, alike: bool) -> Background:
    """The background of one recording, from rest and from its quietest moments.

    Args:
        recording: sound.
        track: the drum's speed.
        alike: whether the phone heard rest and spin alike, as one that suppresses noise does not.
    """
    time_s, frequency_hz, power = _frames(recording)
    speed = np.interp(time_s, track.time_s, np.nan_to_num(track.speed_rpm, nan=-1.0))
    still = np.abs(speed) < 1.0
    least, limit = np.zeros(len(frequency_hz)), np.full(len(frequency_hz), np.inf)
    if np.count_nonzero(still) * _FRAME_S >= _LEAST_REST_S:
        least = np.median(power[still], axis=0)
        limit = _STEADY * least if alike else limit
    spinning = power[speed >= _SLOWEST_SPIN_RPM]
    if len(spinning) == 0:
        spinning = power
    from scipy.ndimage import uniform_filter1d

    second = max(1, round(1.0 / _FRAME_S))
    quietest = np.quantile(uniform_filter1d(spinning, second, axis=0), _QUIETEST, axis=0)
    most = np.minimum(quietest, limit)
    return Background(
        frequency_hz=frequency_hz, least=np.minimum(least, most), most=np.asarray(most)
    )


def no_background(recording: Recording) -> Background:
    """Of a log: what shakes a sensor fixed to the machine is the machine."""
    frequency_hz = np.array([0.5 * recording.rate_hz])
    nothing = np.zeros(1)
    return Background(frequency_hz=frequency_hz, least=nothing, most=nothing)


def share_at(found: Background, recording: Recording, spans: Sequence[Span]) -> Share:
    """The background's share in some stretches of the recording that it was read from."""
    if not found.most.any():
        none = np.zeros(len(found.most))
        return Share(frequency_hz=found.frequency_hz, share=none, standard_uncertainty=none)
    power = np.concatenate([_frames(recording.cut(span.start_s, span.end_s))[2] for span in spans])
    whole = np.maximum(np.mean(power, axis=0), 1e-30)
    low, high = found.least / whole, np.minimum(found.most / whole, 1.0)
    # Anywhere between the two with equal right: a rectangle's mean and spread (GUM 4.3.7).
    spread = np.hypot((high - low) / np.sqrt(12.0), _KNOWN * low)
    return Share(
        frequency_hz=found.frequency_hz,
        share=np.clip(0.5 * (low + high), 0.0, _MOST),
        standard_uncertainty=spread,
    )


def _frames(recording: Recording) -> tuple[Array, Array, Array]:
    """Frame centres, cell centres and power, shape (frames, cells), mean over the channels."""
    from scipy.fft import rfft, rfftfreq

    size = max(16, round(_FRAME_S * recording.rate_hz))
    count = recording.length // size
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    group = max(1, round(_CELL_HZ * size / recording.rate_hz))
    cells = (size // 2) // group
    power = np.zeros((count, cells))
    for number in range(count):
        part = recording.samples[:, number * size : (number + 1) * size]
        lines = np.abs(rfft(np.nan_to_num(part) * window, axis=1))[:, 1 : cells * group + 1] ** 2
        power[number] = lines.mean(axis=0).reshape(cells, group).mean(axis=1)
    places = rfftfreq(size, 1.0 / recording.rate_hz)[1 : cells * group + 1]
    centres: Array = places.reshape(cells, group).mean(axis=1)
    time_s = recording.start_s + (np.arange(count) + 0.5) * size / recording.rate_hz
    return np.asarray(time_s), centres, power
