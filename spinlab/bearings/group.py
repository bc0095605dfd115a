"""From a recording and a track to envelopes of many bands at equal steps of angle.

Bearings on the drum's shaft and on the motor's are looked at apart: a motor bearing's impacts
come ten times as fast and need a shorter window, hence wider bands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.angle import cell_rates_hz, over_angle, parts_by_speed
from spinlab.bearings.evidence import Competitor
from spinlab.bearings.geometry import MountedBearing
from spinlab.bearings.merits import band_merits
from spinlab.bearings.spectra import EnvelopeSpectra, competing_lines, envelope_spectra
from spinlab.envelope.bands import (
    HOPS_PER_WINDOW,
    BandEnvelopes,
    BandMerit,
    band_envelopes,
    window_samples,
    without_mains,
)
from spinlab.envelope.kurtosis import Band, Kurtogram, band_tree
from spinlab.envelope.whitening import LEVEL_S, line_limited
from spinlab.orders import Span, turning_spans
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

# Shafts turning less than this many times per drum turn belong to the drum's group.
DRUM_GROUP_BELOW = 3.0
# A carrier below twice the impact rate no longer shows single impacts (the fastest is the inner
# race's; an outer race strikes at two thirds of it); below 500 Hz the orders of drum and motor are
# dense.  Common practice, no published source.
LEAST_CARRIER_HZ = 500.0
CARRIER_OVER_RATE = 2.0
# The highest part of the band is left to the anti-alias filter's slope.
HIGHEST_SHARE = 0.45
# Harmonics of the fastest race that the order axis must hold, and cells per highest order.
_HARMONICS_KEPT = 5.5
_CELLS_PER_ORDER = 2.6
# A second look through windows this many times as long: cells as narrow as a lightly damped
# resonance, in which faint ringing stands out, at the price of the higher harmonics.
_LONGER = 4
# Below this the orders of motor and belt lie so close that two of them beat within a narrow band:
# lines at orders of no bearing.  Bearings and their seats ring above; common practice.
_NARROW_FROM_HZ = 1500.0
# Rates above so many over the window's length hardly pass it (a Hann window's first zero lies at
# two); what stands there at top speed are images of a knock's multiples.  Hops twice as short as
# the rates looked at ask for weaken them, and they lie at least 20 dB below the knock's own lines:
# where those stand higher than that over the noise, nothing from the zero on is looked at.
_PASSED = 2.6
_PASSED_BESIDE_KNOCK = 2.0
_KNOCK_LEVEL = 100.0
# From this ratio of fast to slow on the speed changes, and the mains can be taken out at the price
# of a sliver; at one speed it would take a part's line with it for good where they meet.
LEAST_CHANGE = 1.1
# The channels of a stereo or three-axis recording; more add little and cost time.
_MOST_CHANNELS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Group:
    """The envelopes of one group of bearings.

    Attributes:
        bearings: the bearings.
        merits: the bands with their weights.
        pieces: per stretch of time the envelopes over time, shape (bands, n), those of short
            windows first; together their bands are those of every other array.
        spans: the stretches.
        cells_per_turn: cells per drum turn.
        turns: drum turns in all stretches.
        looks: the order spectra, competing lines set aside, of everything together; and, where
            the drum held both for long enough, of its fast and of its slow part alone.
    """

    bearings: tuple[MountedBearing, ...]
    merits: tuple[BandMerit, ...]
    pieces: tuple[tuple[BandEnvelopes, ...], ...]
    spans: tuple[Span, ...]
    cells_per_turn: int
    turns: float
    looks: tuple[EnvelopeSpectra, ...]

    @property
    def spectra(self) -> EnvelopeSpectra:
        """The order spectra over all stretches."""
        return self.looks[0]

    @property
    def weights(self) -> Array:
        """Share of the error budget of each band."""
        return np.array([merit.weight for merit in self.merits])

    def index_of(self, band: Band) -> int:
        """Row of a band in every array of the group."""
        return [merit.band for merit in self.merits].index(band)


def analysed_spans(track: SpeedTrack, *, least_rpm: float, longest_s: float) -> tuple[Span, ...]:
    """The turning stretches; of a long recording evenly spread parts, `longest_s` in all."""
    spans = turning_spans(track, least_rpm=least_rpm)
    total = sum(span.end_s - span.start_s for span in spans)
    if total <= longest_s:
        return spans
    share, part_s = longest_s / total, 20.0
    kept = []
    for span in spans:
        start = span.start_s
        while start < span.end_s:
            end = min(span.end_s, start + part_s)
            kept.append(Span(start, start + share * (end - start)))
            start = end
    return tuple(kept)


def speed_uncertainty(track: SpeedTrack, spans: Sequence[Span]) -> float:
    """Relative standard uncertainty of the speed, median over the analysed frames."""
    inside = np.zeros(len(track.time_s), dtype=bool)
    for span in spans:
        inside |= (track.time_s >= span.start_s) & (track.time_s <= span.end_s)
    inside &= track.known
    if not inside.any():
        return 0.0
    relative = track.standard_uncertainty_rpm[inside] / track.speed_rpm[inside]
    return float(np.nanmedian(relative)) if np.isfinite(relative).any() else 0.0


def top_speed_hz(track: SpeedTrack, spans: Sequence[Span]) -> float:
    """Highest rotation rate of the drum in the stretches (99th percentile), Hz; 0 if unknown."""
    known = _known_rpm(track, spans)
    return float(np.percentile(known, 99.0)) / 60.0 if len(known) else 0.0


def _known_rpm(track: SpeedTrack, spans: Sequence[Span]) -> Array:
    speeds = [
        track.speed_rpm[(track.time_s >= s.start_s) & (track.time_s <= s.end_s) & track.known]
        for s in spans
    ]
    return np.concatenate(speeds)


def _speed_changes(track: SpeedTrack, spans: Sequence[Span]) -> bool:
    low, high = np.percentile(_known_rpm(track, spans), (5.0, 95.0))
    return bool(high > LEAST_CHANGE * low)


def carrier_range(
    recording: Recording, fastest_hz: float, usable_band_hz: tuple[float, float] | None
) -> tuple[float, float]:
    """Lowest and highest frequency in which to look for resonances; empty if high <= low."""
    low, high = usable_band_hz or (0.0, 0.5 * recording.rate_hz)
    return (
        max(low, LEAST_CARRIER_HZ, CARRIER_OVER_RATE * fastest_hz),
        min(high, HIGHEST_SHARE * recording.rate_hz),
    )


def fastest_race_hz(bearings: Sequence[MountedBearing], top_hz: float) -> float:
    """Highest ball pass rate of a group at top speed, Hz."""
    return max(bearing.order("inner race") for bearing in bearings) * top_hz


@dataclass(frozen=True, kw_only=True, eq=False)
class Whitened:
    """One turning stretch of the recording, its tones limited.

    Attributes:
        samples: shape (channels, n).
        rate_hz: sample rate.
        span: the stretch; the first sample stands at its beginning.
    """

    samples: NDArray[np.float32]
    rate_hz: float
    span: Span


def whiten(
    recording: Recording, spans: Sequence[Span], *, level_s: float = LEVEL_S
) -> tuple[Whitened, ...]:
    """Pre-whiten every stretch once, for all groups; `level_s` as in `line_limited`."""
    found = []
    for span in spans:
        first = max(0, round((span.start_s - recording.start_s) * recording.rate_hz))
        last = min(recording.length, round((span.end_s - recording.start_s) * recording.rate_hz))
        if last - first < 2:
            continue
        rows = [
            line_limited(row[first:last], recording.rate_hz, level_s=level_s)
            for row in recording.samples[:_MOST_CHANNELS]
        ]
        start_s = recording.start_s + first / recording.rate_hz
        found.append(
            Whitened(
                samples=np.stack(rows),
                rate_hz=recording.rate_hz,
                span=Span(start_s, start_s + (last - first) / recording.rate_hz),
            )
        )
    return tuple(found)


def build_group(
    stretches: Sequence[Whitened],
    track: SpeedTrack,
    bearings: Sequence[MountedBearing],
    carrier_hz: tuple[float, float],
    *,
    kurtogram: Kurtogram | None,
    competitors: Sequence[Competitor],
    mains_hz: float | None,
) -> Group:
    """Envelopes, band weights and order spectra for one group of bearings."""
    spans = [stretch.span for stretch in stretches]
    rate_hz = stretches[0].rate_hz
    top_hz = top_speed_hz(track, spans)
    fastest_hz = fastest_race_hz(bearings, top_hz)
    windows = _windows(rate_hz, fastest_hz, carrier_hz)
    highest = min(_HARMONICS_KEPT * fastest_hz / top_hz, rate_hz / windows[0][0] / top_hz)
    cells_per_turn = 2 ** int(np.ceil(np.log2(_CELLS_PER_ORDER * highest)))
    pieces, cells, rates = [], [], []
    longest: tuple[BandEnvelopes, ...] = ()
    changes = _speed_changes(track, spans)
    for stretch in stretches:
        heard = tuple(
            band_envelopes(
                stretch.samples,
                rate_hz,
                bands,
                start_s=stretch.span.start_s,
                window=window,
                # The second harmonics, weakened by a long window, still tell.
                hops_per_window=HOPS_PER_WINDOW * (2 if window == windows[0][0] else 4),
            )
            for window, bands in windows
        )
        if not longest or heard[0].values.shape[1] > longest[0].values.shape[1]:
            longest = heard
        row = tuple(without_mains(part, mains_hz) for part in heard) if changes else heard
        pieces.append(row)
        over = [over_angle(piece, track, stretch.span, cells_per_turn) for piece in row]
        # Windows of different length begin and end at different times.
        shortest = min(part.shape[1] for part in over)
        cells.append(np.concatenate([part[:, :shortest] for part in over]))
        rates.append(cell_rates_hz(row[-1], track, stretch.span, cells_per_turn)[:shortest])
    lengths_s = np.array([window / rate_hz for window, bands in windows for _ in bands])
    known = competing_lines(competitors, highest, speed_uncertainty(track, spans))
    every, rate = np.concatenate(cells, axis=1), np.concatenate(rates)
    looks: list[EnvelopeSpectra] = []
    for part in parts_by_speed(rate, cells_per_turn):
        spectra = envelope_spectra(every[:, part], cells_per_turn, highest_order=highest)
        if bearings[0].shaft_order.value < DRUM_GROUP_BELOW:
            fastest = float(np.percentile(rate[part], 99.0))
            # A slow drum's belt and motor beat in low bands, and a part averages less of it away.
            whole = [not looks or band.low_hz >= _NARROW_FROM_HZ for _, b in windows for band in b]
            loud = spectra.highest_at_multiples(1.0) > _KNOCK_LEVEL
            passed = np.where(loud, _PASSED_BESIDE_KNOCK, _PASSED) / lengths_s
            spectra = spectra.blind_above(passed / fastest * whole)
        looks.append(spectra.without(known))
    merits = band_merits(longest, kurtogram, looks[0], mains_hz)
    return Group(
        bearings=tuple(bearings),
        merits=merits,
        pieces=tuple(pieces),
        spans=tuple(spans),
        cells_per_turn=cells_per_turn,
        turns=every.shape[1] / cells_per_turn,
        looks=tuple(looks),
    )


def _windows(
    rate_hz: float, fastest_hz: float, carrier_hz: tuple[float, float]
) -> list[tuple[int, tuple[Band, ...]]]:
    """Window lengths in samples, and the bands looked at through each.

    The short window keeps single impacts apart; the long one adds bands too narrow for it.
    """
    short = window_samples(rate_hz, fastest_hz)
    wide = band_tree(*carrier_hz, least_width_hz=2.0 * rate_hz / short)
    every = band_tree(*carrier_hz, least_width_hz=2.0 * rate_hz / (_LONGER * short))
    narrow = tuple(b for b in every if b not in wide and b.low_hz >= _NARROW_FROM_HZ)
    return [(short, wide), (_LONGER * short, narrow)] if narrow else [(short, wide)]
