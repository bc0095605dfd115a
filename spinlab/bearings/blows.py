"""Blows over time: how far envelope lines stand out at each rate, frame by frame, band by band.

The squared envelopes of a tree of bands are cut into frames of some seconds; each frame's spectrum
over its local noise tells line from noise as the speed tracker does (`speed.evidence`).  Damage
rings in one resonance from the first speed to the last, so that bands are kept apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from spinlab.bearings.group import Whitened
from spinlab.envelope.bands import BandEnvelopes, band_envelopes
from spinlab.envelope.kurtosis import band_tree
from spinlab.speed.evidence import line_evidence, noise_floor
from spinlab.speed.frames import news_share
from spinlab.speed.ranks import median
from spinlab.speed.steady_tones import off_mains_hz

Array = NDArray[np.float64]
Float = NDArray[np.float32]

# A frame holds twenty turns at 400 rpm, and a plateau of a short programme one frame.
FRAME_S = 3.0
HOP_S = 0.6
# Short enough to keep blows at 250 Hz apart, long enough for bands of half a kilohertz.
WINDOW_S = 0.004
LEAST_WIDTH_HZ = 500.0
# A blow counts as at most this many times the mean.
HIGHEST = 9.0
# Width in which the noise of an envelope is read.
FLOOR_WIDTH_HZ = 10.0
# Prior that a line of the damage is heard, its mean power over noise, and the most nats it gives.
PRIOR = 0.5
MEAN_SNR = 6.0
LIMIT = 8.0
# Hum and its torque beat at the mains' rate and its multiples, whose place is known to so much.
MAINS_REACH_HZ = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Blows:
    """Envelopes of the bands of a whole recording, and the frames they are read in.

    Attributes:
        envelopes: of all bands.
        time_s: shape (frames,), centres of the frames.
        highest_hz: nothing is read above.
        mains_hz: mains frequencies whose multiples say nothing.
    """

    envelopes: BandEnvelopes
    time_s: Array
    highest_hz: float
    mains_hz: tuple[float, ...]

    @property
    def bin_hz(self) -> float:
        """Width of a bin: frames are padded to twice their length."""
        return self.envelopes.rate_hz / (2 * round(FRAME_S * self.envelopes.rate_hz))

    def row(self, band: int) -> Float:
        """A band's envelope less its mean, single blows limited."""
        limited: Float = np.clip(self.envelopes.values[band] - 1.0, -1.0, HIGHEST - 1.0)
        return limited

    def evidence(self, band: int) -> Float:
        """Nats for a line at each rate in each frame of a band, shape (frames, bins)."""
        rate_hz = self.envelopes.rate_hz
        frame = round(FRAME_S * rate_hz)
        row = np.pad(self.row(band), frame)
        first = np.round((self.time_s - self.envelopes.start_s) * rate_hz).astype(np.int64)
        first = np.clip(first + frame - frame // 2, 0, len(row) - frame)
        pieces = np.lib.stride_tricks.sliding_window_view(row, frame)[first]
        window = np.hanning(frame + 1)[:-1].astype(np.float32)
        bins = min(frame, int(self.highest_hz / self.bin_hz) + 2)
        spectrum = fft.rfft(pieces * window, 2 * frame, axis=1)[:, :bins]
        power = (spectrum.real**2 + spectrum.imag**2)[:, None]
        self.whiten(power, self.bin_hz, FRAME_S)
        return as_nats(power[:, 0], news_share(FRAME_S, HOP_S))

    def whiten(self, power: Float, bin_hz: float, frame_s: float) -> None:
        """Divide spectra by their noise in place; what stands at one rate says nothing.

        Args:
            power: shape (frames, rates of change, bins), no change in the middle.
            bin_hz: width of a bin.
            frame_s: length of a frame.
        """
        still = power[:, power.shape[1] // 2]
        floor = np.maximum(noise_floor(still, bin_hz, width_hz=FLOOR_WIDTH_HZ), 1e-20)
        # what stands at one rate most of the time does not turn with a drum that runs up
        usual = median(np.ascontiguousarray((still / floor).T)) / np.float32(np.log(2.0))
        power /= (floor * np.maximum(usual, np.float32(1.0)))[:, None]
        rate_hz = bin_hz * np.arange(power.shape[-1])
        for mains_hz in self.mains_hz:
            power[..., off_mains_hz(rate_hz, mains_hz) < MAINS_REACH_HZ + 1.0 / frame_s] = 1.0


def as_nats(ratio: Float, news: float) -> Float:
    """Evidence of lines from power over noise (overwritten); `news` is new in each frame."""
    nats = line_evidence(ratio, prior=PRIOR, mean_snr=MEAN_SNR, limit=LIMIT / news)
    nats *= np.float32(news)
    return nats


def blows_of(
    stretch: Whitened,
    carrier_hz: tuple[float, float],
    *,
    highest_hz: float,
    mains_hz: Sequence[float],
) -> Blows:
    """The envelopes of a recording, for blows at up to `highest_hz`.

    Args:
        stretch: the recording, pre-whitened.
        carrier_hz: where to look for resonances.
        highest_hz: the fastest rate that will be asked for.
        mains_hz: mains frequencies.
    """
    window = int(2 ** round(np.log2(WINDOW_S * stretch.rate_hz)))
    width_hz = max(LEAST_WIDTH_HZ, 2.0 * stretch.rate_hz / window)
    envelopes = band_envelopes(
        stretch.samples,
        stretch.rate_hz,
        band_tree(*carrier_hz, least_width_hz=width_hz),
        start_s=stretch.span.start_s,
        window=window,
        hops_per_window=2,
    )
    frames = max(1, int(stretch.samples.shape[1] / stretch.rate_hz / HOP_S))
    return Blows(
        envelopes=envelopes,
        time_s=np.asarray(stretch.span.start_s + (np.arange(frames) + 0.5) * HOP_S),
        highest_hz=min(highest_hz, 0.5 * envelopes.rate_hz),
        mains_hz=tuple(mains_hz),
    )
