"""Averaged order spectra of one recording at one speed, over their own noise floors.

Two kinds are made: of the signal itself, and of the squared envelopes of bands of frequencies
(both after Welch, over segments of equal angle).  Levels over the recording's own noise floor at
the same place depend neither on a phone's gain nor on what its automatic gain did, because line
and floor passed through the same one.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, stats

from spinlab.bearings.angle import over_angle
from spinlab.bearings.group import whiten
from spinlab.comparison.statistics import effective_segments
from spinlab.envelope.bands import band_envelopes, window_samples
from spinlab.envelope.kurtosis import Band
from spinlab.orders import AngularSignal, Span, order_spectrum, resample
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

# Lines 0.05 orders apart, 0.1 wide: a bearing's line, smeared by 1 % of slip, stays one.
TURNS_PER_SEGMENT = 20
# Fewer half-overlapping segments give no spectrum that could be held against another.
LEAST_SEGMENTS = 3
LEAST_TURNS = TURNS_PER_SEGMENT * (LEAST_SEGMENTS + 1) / 2 + 1.0
# Width over which the floor is read, in orders: several lines' spacing, fewer than a resonance.
FLOOR_ORDERS = 4.0
# Of n Hann lines of noise, the median is known as well as the mean of 0.48 n independent ones
# (see `envelope.significance`).
_FLOOR_LINES = 0.48
# Cells per turn for the signal itself: orders to 48 with a quarter to spare.
_SIGNAL_CELLS = 256
HIGHEST_SIGNAL_ORDER = 48.0
# Ball pass rates of bearings of up to ten balls lie below this multiple of the shaft's rate.
FASTEST_RACE_ORDER = 6.0
HIGHEST_ENVELOPE_ORDER = 20.0
_ENVELOPE_CELLS = 64
LEAST_CARRIER_HZ = 500.0
_HIGHEST_SHARE = 0.45
LEAST_BAND_RATIO = 1.6
_MARGIN_S = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class LeveledSpectrum:
    """An averaged order spectrum over its own noise floor.

    Attributes:
        order: shape (n,).
        ratio: shape (n,), power over the floor.
        rows: shape (count, n), the same in each segment.
        depth: shape (n,), the floor's power over the square of the signal's mean: of an envelope,
            what makes a level over the floor a depth of modulation.
        segments: independent segments that these are worth.
        floor_freedom: degrees of freedom of the floor.
        free: shape (n,), False where something that does not turn with the drum stands.
    """

    order: Array
    ratio: Array
    rows: Array
    depth: Array
    segments: float
    floor_freedom: float
    free: NDArray[np.bool_]

    @property
    def step(self) -> float:
        """Distance of two lines, in orders."""
        return float(self.order[1] - self.order[0])


def over_floor(
    order: Array, rows: Array, *, mean: float = 1.0, highest_order: float
) -> LeveledSpectrum:
    """A spectrum over its running median, which is scaled to a mean.

    The median of a chi-square variable over its mean depends on its degrees of freedom, hence on
    the number of segments averaged.

    Args:
        order: shape (n,).
        rows: shape (count, n), power in half-overlapping segments.
        mean: of the signal.
        highest_order: orders beyond are left out.
    """
    step = float(order[1])
    order, rows = order[order <= highest_order], rows[:, order <= highest_order]
    segments = effective_segments(len(rows))
    power = rows.mean(axis=0)
    size = 2 * round(0.5 * FLOOR_ORDERS / step) + 1
    # The lowest lines hold what is left of a mean that drifts.
    lowest = slice(0, round(0.25 / step))
    power[lowest] = rows[:, lowest] = np.median(power[: size // 2])
    median = ndimage.median_filter(power, size, mode="reflect")
    floor = median * 2.0 * segments / stats.chi2.median(2.0 * segments)
    tiny = float(np.max(floor, initial=0.0)) * 1e-9 + 1e-300
    floor = np.maximum(floor, tiny)
    return LeveledSpectrum(
        order=order,
        ratio=power / floor,
        rows=rows / floor,
        depth=floor / max(mean, 1e-150) ** 2,
        segments=segments,
        floor_freedom=2.0 * segments * _FLOOR_LINES * size,
        free=np.ones(len(power), dtype=bool),
    )


def signal_spectrum(
    recording: Recording,
    track: SpeedTrack,
    spans: Sequence[Span],
    *,
    steady_hz: Sequence[float],
    usable_band_hz: tuple[float, float],
) -> LeveledSpectrum | None:
    """Order spectrum of the signal itself, mean of the channels' powers.

    Args:
        recording: sound or acceleration.
        track: the drum's speed.
        spans: stretches of nearly one speed.
        steady_hz: tones that stay where they are when the speed changes; where they fall at this
            speed, nothing is compared.
        usable_band_hz: what both recordings hold.
    """
    total: Array | None = None
    order = np.zeros(0)
    for channel in range(recording.channels):
        rows = [
            resample(
                recording.cut(span.start_s - _MARGIN_S, span.end_s + _MARGIN_S),
                track,
                cells_per_turn=_SIGNAL_CELLS,
                channel=channel,
                span=span,
            )
            for span in spans
        ]
        made = _segments(rows)
        if made is None:
            return None
        order = made[0]
        total = made[1] if total is None else total + made[1]
    assert total is not None
    leveled = over_floor(order, total / recording.channels, highest_order=HIGHEST_SIGNAL_ORDER)
    return _only_turning(leveled, track, spans, steady_hz, usable_band_hz)


def _only_turning(
    spectrum: LeveledSpectrum,
    track: SpeedTrack,
    spans: Sequence[Span],
    steady_hz: Sequence[float],
    usable_band_hz: tuple[float, float],
) -> LeveledSpectrum:
    speeds = np.concatenate(
        [
            track.speed_rpm[(track.time_s >= span.start_s) & (track.time_s <= span.end_s)]
            for span in spans
        ]
    )
    slowest, fastest = float(np.nanmin(speeds)) / 60.0, float(np.nanmax(speeds)) / 60.0
    order, step = spectrum.order, spectrum.step
    free = (order * slowest >= usable_band_hz[0]) & (order * fastest <= usable_band_hz[1])
    for tone_hz in steady_hz:
        free &= (order < tone_hz / fastest - 3 * step) | (order > tone_hz / slowest + 3 * step)
    return replace(spectrum, free=free)


def _segments(rows: Sequence[AngularSignal]) -> tuple[Array, Array] | None:
    """Orders, and the power in each half-overlapping segment of all stretches, (count, n).

    None where they make fewer than `LEAST_SEGMENTS`.
    """
    size = TURNS_PER_SEGMENT * (rows[0].cells_per_turn if rows else 1)
    pieces = [
        replace(row, values=row.values[first : first + size])
        for row in rows
        for first in range(0, len(row.values) - size + 1, size // 2)
    ]
    if len(pieces) < LEAST_SEGMENTS:
        return None
    spectra = [order_spectrum(piece) for piece in pieces]
    return spectra[0].order, np.stack([one.amplitude**2 for one in spectra])


def carrier_bands(low_hz: float, high_hz: float) -> tuple[Band, ...]:
    """The bands whose envelopes are compared: all of the range, and its thirds by pitch.

    Empty where the range is too narrow for resonances of a bearing.
    """
    low_hz = max(low_hz, LEAST_CARRIER_HZ)
    if high_hz < LEAST_BAND_RATIO * low_hz:
        return ()
    edges = np.geomspace(low_hz, high_hz, 4)
    thirds = [Band(low_hz=float(a), high_hz=float(b)) for a, b in itertools.pairwise(edges)]
    return (Band(low_hz=low_hz, high_hz=high_hz), *thirds)


def highest_carrier_hz(recording: Recording, usable_band_hz: tuple[float, float]) -> float:
    """Top of the usable band, less what the anti-alias filter's slope takes."""
    return min(usable_band_hz[1], _HIGHEST_SHARE * recording.rate_hz)


def envelope_spectra(
    recording: Recording,
    track: SpeedTrack,
    spans: Sequence[Span],
    bands: Sequence[Band],
    *,
    top_rpm: float,
) -> tuple[LeveledSpectrum, ...] | None:
    """Order spectra of the squared envelopes of the bands; None where there is too little.

    Args:
        recording: sound or acceleration; both sides of a comparison at the same rate.
        track: the drum's speed.
        spans: stretches of nearly one speed.
        bands: from `carrier_bands`.
        top_rpm: the highest speed compared, which sets the time window for all of them.
    """
    window = window_samples(recording.rate_hz, FASTEST_RACE_ORDER * top_rpm / 60.0)
    rows: list[list[AngularSignal]] = [[] for _ in bands]
    # each block at its own level: what swells slowly differs from take to take
    for stretch in whiten(recording, spans, level_s=0.0):
        piece = band_envelopes(
            stretch.samples,
            recording.rate_hz,
            bands,
            start_s=stretch.span.start_s,
            window=window,
        )
        cells = over_angle(piece, track, stretch.span, _ENVELOPE_CELLS)
        for row, values in zip(rows, cells, strict=True):
            row.append(
                AngularSignal(
                    values=values,
                    cells_per_turn=_ENVELOPE_CELLS,
                    first_turn=0.0,
                    span=stretch.span,
                )
            )
    found = []
    for row in rows:
        made = _segments(row)
        if made is None:
            return None
        mean = float(np.mean(np.concatenate([one.values for one in row])))
        found.append(over_floor(*made, mean=mean, highest_order=HIGHEST_ENVELOPE_ORDER))
    return tuple(found)
