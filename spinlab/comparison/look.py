"""The order spectra that two recordings allow to be laid over one another, speed by speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spinlab.analysis import Analysis
from spinlab.comparison import shaking
from spinlab.comparison.align import SpeedBin
from spinlab.comparison.allowed import (
    NO_SHARED_BAND,
    at_rate,
    no_carriers,
    no_shared_speed,
    ratios_agree,
    shared_band_hz,
)
from spinlab.comparison.background import (
    Background,
    Share,
    background,
    no_background,
    share_at,
)
from spinlab.comparison.lines import Sides, decibels, sides
from spinlab.comparison.spectra import (
    LEAST_TURNS,
    LeveledSpectrum,
    carrier_bands,
    envelope_spectra,
    highest_carrier_hz,
    signal_spectrum,
)
from spinlab.comparison.statistics import room_db
from spinlab.comparison.value import Curves, Limit, Measure
from spinlab.envelope.kurtosis import Band
from spinlab.phrase import say

# Standard deviation, from take to take, of an unchanged envelope's line at one speed, with the
# phone laid back to its place: the room's tail passes each rate of modulation differently from one
# place to the next (Houtgast and Steeneken, Journal of the Acoustical Society of America 77 (1985)
# 1069-1077, give the mean), and every speed puts a line at another rate. The number is that of
# takes through simulated rooms, see DEVELOPERS.md.
SAME_PLACE_DB = 2.4
# The same, at all speeds alike, with the phone laid anywhere: reverberation fills an envelope's
# valleys the more the farther the phone lies (simulated takes, see DEVELOPERS.md).
MOVED_DB = 4.0
# A recording with more background than this loses 3 dB of modulation depth to it (20 lg 0.7).
_CLEAR_ENOUGH = 0.7
# Steady tones are masked with their first few multiples, since a hum is never a pure sine.
_TONE_MULTIPLES = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """One kind of spectrum of both recordings at the speeds they share.

    Attributes:
        measure, band: which.
        both: the spectra.
        speeds_rpm: the shared speeds.
        shares: how much of either recording is background at each of them.
        same_place: whether the phone lay in the same place both times.
    """

    measure: Measure
    band: Band | None
    both: Sides
    speeds_rpm: tuple[float, ...]
    shares: tuple[tuple[Share, Share], ...]
    same_place: bool

    def take_db(self, independent: float) -> float:
        """How far an unchanged line differs from take to take.

        A pure tone differs over a hand's breadth, so that no phone is laid back to the same
        place; but each speed puts a line at another frequency, hence independent.
        """
        if self.measure == "signal":
            return room_db(independent)
        if self.measure == "shaking":
            return shaking.SAME_PLACE_DB if self.same_place else shaking.MOVED_DB
        placed = SAME_PLACE_DB / float(np.sqrt(max(independent, 1.0)))
        return placed if self.same_place else float(np.hypot(placed, MOVED_DB))

    @property
    def curves(self) -> Curves:
        """What to draw."""
        shown = self.both.open
        return Curves(
            measure=self.measure,
            band=self.band,
            order=self.both.order,
            first_db=decibels(self.both.pooled(False), shown),
            second_db=decibels(self.both.pooled(True), shown),
        )


def look(
    first: Analysis,
    second: Analysis,
    bins: Sequence[SpeedBin],
    numbers: tuple[int, int],
    *,
    same_place: bool = True,
) -> tuple[tuple[Looked, ...], tuple[Limit, ...]]:
    """The order spectra that both recordings allow, and what they do not allow.

    Args:
        first, second: two sounds or two acceleration logs, both with an absolute track.
        bins: the speeds of all recordings.
        numbers: places of the two among the bins' recordings.
        same_place: whether the phone lay in the same place both times.
    """
    band = shared_band_hz(first, second)
    if band is None:
        return (), (NO_SHARED_BAND,)
    shared = [b for b in bins if b.shared(*numbers, least_turns=LEAST_TURNS)]
    if not shared:
        return (), (no_shared_speed(LEAST_TURNS),)
    rate_hz = min(first.recording.rate_hz, second.recording.rate_hz)
    pair = [_side(*one, rate_hz) for one in zip((first, second), numbers, strict=True)]
    looked = [*_signal(pair, shared, band)]
    missing: tuple[Limit, ...] = ()
    if first.recording.kind == "sound":
        top_hz = min(highest_carrier_hz(side.analysis.recording, band) for side in pair)
        bands = carrier_bands(band[0], top_hz)
        looked += _envelopes(pair, shared, bands) if bands else []
        missing = () if bands else (no_carriers(band[1]),)
    if not ratios_agree(first, second):
        looked = [_without_motor(one, first, second) for one in looked]
    return tuple(replace(one, same_place=same_place) for one in looked), missing


@dataclass(frozen=True, kw_only=True, eq=False)
class _Side:
    """One recording of the two, and its place among the bins' recordings."""

    analysis: Analysis
    number: int
    background: Background


@dataclass(frozen=True, kw_only=True, eq=False)
class _Row:
    """Both recordings at one speed."""

    first: LeveledSpectrum
    second: LeveledSpectrum
    speed_rpm: float
    shares: tuple[Share, Share]


def _side(analysis: Analysis, number: int, rate_hz: float) -> _Side:
    recording = at_rate(analysis.recording, rate_hz)
    return _Side(
        analysis=replace(analysis, recording=recording),
        number=number,
        background=no_background(recording)
        if recording.kind == "acceleration"
        else background(
            recording,
            analysis.track,
            alike=analysis.quality.noise_suppression == "not seen",
        ),
    )


def _signal(
    pair: Sequence[_Side], bins: Sequence[SpeedBin], band: tuple[float, float]
) -> list[Looked]:
    tones = [
        k * line.frequency_hz
        for side in pair
        for line in side.analysis.track.steady_lines
        for k in range(1, _TONE_MULTIPLES + 1)
    ]
    made = [
        [
            signal_spectrum(
                side.analysis.recording,
                side.analysis.track,
                one.spans[side.number],
                steady_hz=tones,
                usable_band_hz=band,
            )
            for side in pair
        ]
        for one in bins
    ]
    kept = [
        _Row(first=a, second=b, speed_rpm=one.speed_rpm, shares=_shares(pair, one))
        for (a, b), one in zip(made, bins, strict=True)
        if a and b
    ]
    felt = pair[0].analysis.recording.kind == "acceleration"
    return [_looked("shaking" if felt else "signal", None, kept)] if kept else []


def _shares(pair: Sequence[_Side], one: SpeedBin) -> tuple[Share, Share]:
    first, second = (
        share_at(side.background, side.analysis.recording, one.spans[side.number]) for side in pair
    )
    return first, second


def _envelopes(
    pair: Sequence[_Side], bins: Sequence[SpeedBin], bands: Sequence[Band]
) -> list[Looked]:
    top_rpm = max(one.speed_rpm for one in bins)
    kept: list[list[_Row]] = [[] for _ in bands]
    for one in bins:
        a, b = (
            envelope_spectra(
                side.analysis.recording,
                side.analysis.track,
                one.spans[side.number],
                bands,
                top_rpm=top_rpm,
            )
            for side in pair
        )
        if a is None or b is None:
            continue
        shares = _shares(pair, one)
        for rows, x, y in zip(kept, a, b, strict=True):
            rows.append(_Row(first=x, second=y, speed_rpm=one.speed_rpm, shares=shares))
    return [_looked("envelope", band, rows) for band, rows in zip(bands, kept, strict=True) if rows]


def _looked(measure: Measure, band: Band | None, rows: Sequence[_Row]) -> Looked:
    return Looked(
        measure=measure,
        band=band,
        both=sides([row.first for row in rows], [row.second for row in rows]),
        speeds_rpm=tuple(row.speed_rpm for row in rows),
        shares=tuple(row.shares for row in rows),
        same_place=True,
    )


def _without_motor(looked: Looked, first: Analysis, second: Analysis) -> Looked:
    """The same with every multiple of either motor's rate left out."""
    weight = looked.both.weight.copy()
    order = looked.both.order
    for ratio in (first.track.motor_ratio, second.track.motor_ratio):
        if ratio is None:
            continue
        nearest = np.maximum(np.round(order / ratio.value), 1.0)
        reach = 0.15 + 2.0 * nearest * ratio.standard_uncertainty
        weight[:, np.abs(order - nearest * ratio.value) <= reach] = 0.0
    return replace(looked, both=replace(looked.both, weight=weight))


def background_limits(looked: Sequence[Looked], names: tuple[str, str]) -> tuple[Limit, ...]:
    """A word on each recording of which much may be background, at the fastest shared speed."""
    widest = next((one for one in looked if one.band is not None), None)
    if widest is None or widest.band is None:
        return ()
    found = []
    for share, name in zip(widest.shares[-1], names, strict=True):
        machine, _ = share.machine(widest.band.low_hz, widest.band.high_hz)
        if machine < _CLEAR_ENOUGH:
            found.append(
                Limit(
                    what=say("the machine alone in {name}", name=name),
                    reason=say(
                        "Up to {share:.0f} % of what is heard at {speed:.0f} rpm may be "
                        "background; changes are corrected for it, and intervals are wider.",
                        share=100 * (1 - machine),
                        speed=widest.speeds_rpm[-1],
                    ),
                    remedy=say("Record in silence, with a few seconds before the drum starts."),
                )
            )
    return tuple(found)
