"""Good recordings of one model made into a reference, checked by leaving each out in turn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.analysis import Analysis
from spinlab.baseline.band import LEAST_COUNT, chance, expected, middle_and_spread
from spinlab.baseline.levels import (
    levels_of_log,
    levels_of_sound,
    log_orders,
    place_orders,
)
from spinlab.baseline.value import Baseline, LeftOut, Reference, Where
from spinlab.comparison.align import SpeedBin, speed_bins
from spinlab.comparison.allowed import gaps, why_no_orders
from spinlab.comparison.spectra import LEAST_TURNS, carrier_bands, highest_carrier_hz
from spinlab.comparison.statistics import choose
from spinlab.envelope.kurtosis import Band
from spinlab.errors import InputError
from spinlab.phrase import say
from spinlab.recording import Kind

Array = NDArray[np.float64]
Levels = dict[Where, Array]
_SECTION = say("Making the baseline")


def make_baseline(
    analyses: Sequence[Analysis], *, progress: Callable[[str, float], None] | None = None
) -> Baseline:
    """A reference band per order and speed.

    Args:
        analyses: of at least five good recordings, of several units of one model where possible,
            all made with the phone in the same place.
        progress: told the step and the share of it that is done.

    Raises:
        InputError: too few recordings, of several kinds, or without a speed.
    """
    kind = _one_kind(analyses)
    names = _names(analyses)
    for one, name in zip(analyses, names, strict=True):
        if why := why_no_orders(one, name):
            raise InputError(say("No baseline can be made: {why}.", why=why))
    rate_hz = min(one.recording.rate_hz for one in analyses)
    levels = _all_levels(analyses, rate_hz, progress)
    references = _references(levels, range(len(analyses)))
    if not references:
        raise InputError(
            say(
                "No speed was held for {least_turns:.0f} turns by {least_count} of the "
                "recordings; record whole service spin tests.",
                least_turns=LEAST_TURNS,
                least_count=LEAST_COUNT,
            )
        )
    return Baseline(
        machine=next((one.machine.name for one in analyses if one.machine is not None), ""),
        kind=kind,
        rate_hz=rate_hz,
        recordings={
            name: one.recording.source.sha256 for one, name in zip(analyses, names, strict=True)
        },
        references=references,
        left_out=_left_out(levels, names),
    )


def _one_kind(analyses: Sequence[Analysis]) -> Kind:
    if len(analyses) < LEAST_COUNT:
        raise InputError(
            say(
                "A baseline needs {least_count} good recordings or more, not {analyses}: "
                "fewer tell nothing about how much good units differ.",
                least_count=LEAST_COUNT,
                analyses=len(analyses),
            )
        )
    kinds = {one.recording.kind for one in analyses}
    if len(kinds) > 1:
        raise InputError(say("A baseline needs recordings of one kind: all sound, or all logs."))
    return kinds.pop()


def _names(analyses: Sequence[Analysis]) -> list[str]:
    """File names, those that several recordings share numbered."""
    names: list[str] = []
    for one in analyses:
        name = one.recording.source.file or say("recording")
        if name in names:
            name = say("{name}, number {number}", name=name, number=len(names) + 1)
        names.append(name)
    return names


def shared_bands(analyses: Sequence[Analysis]) -> tuple[tuple[float, float], tuple[Band, ...]]:
    """The usable band that all recordings share, and the envelopes' bands within it.

    Raises:
        InputError: they share none.
    """
    usable = [one.quality.usable_band_hz for one in analyses]
    known = [band for band in usable if band is not None]
    if len(known) < len(usable):
        raise InputError(
            say("No baseline can be made: one of the recordings holds nothing usable.")
        )
    low, high = max(band[0] for band in known), min(band[1] for band in known)
    if high <= low:
        raise InputError(say("No baseline can be made: the recordings share no usable band."))
    top = min(highest_carrier_hz(one.recording, (low, high)) for one in analyses)
    return (low, high), carrier_bands(low, top)


def _all_levels(
    analyses: Sequence[Analysis],
    rate_hz: float,
    progress: Callable[[str, float], None] | None,
) -> list[Levels]:
    bins = common_bins(analyses)
    sound = analyses[0].recording.kind == "sound"
    band, bands = shared_bands(analyses) if sound else ((0.0, 0.0), ())
    top_rpm = max((one.speed_rpm for one in bins), default=1.0)
    found: list[Levels] = []
    for number, analysis in enumerate(analyses):
        if progress is not None:
            progress(_SECTION, number / len(analyses))
        own: Levels = {}
        for one in bins:
            own |= (
                levels_of_sound(
                    analysis,
                    one,
                    number,
                    bands,
                    rate_hz=rate_hz,
                    usable_band_hz=band,
                    top_rpm=top_rpm,
                )
                if sound
                else levels_of_log(analysis, one.speed_rpm)
            )
        found.append(own)
    return found


def common_bins(analyses: Sequence[Analysis]) -> tuple[SpeedBin, ...]:
    """Speeds that enough of the recordings hold."""
    bins = speed_bins(
        [one.track for one in analyses],
        gaps=[gaps(one) for one in analyses],
        least_turns=LEAST_TURNS / 2,
    )
    return tuple(
        replace(one, speed_rpm=round(one.speed_rpm, 1))
        for one in bins
        if sum(turns >= LEAST_TURNS / 2 for turns in one.turns) >= LEAST_COUNT
    )


def _references(levels: Sequence[Levels], numbers: Sequence[int] | range) -> tuple[Reference, ...]:
    made = []
    for where in dict.fromkeys(where for number in numbers for where in levels[number]):
        held = [levels[number][where] for number in numbers if where in levels[number]]
        if len(held) < LEAST_COUNT:
            continue
        middle, spread = middle_and_spread(np.stack(held))
        made.append(
            Reference(
                where=where,
                count=len(held),
                order=_orders(len(middle)),
                middle_db=middle,
                spread_db=spread,
            )
        )
    return tuple(sorted(made, key=lambda one: (one.where.speed_rpm, one.where.measure)))


def _orders(count: int) -> Array:
    """Orders of the places: those of a log's shaking are few."""
    logged = log_orders()
    return logged if count == len(logged) else place_orders()


def _left_out(levels: Sequence[Levels], names: Sequence[str]) -> tuple[LeftOut, ...]:
    """Each recording against a baseline of the others; empty where those would be too few."""
    checked = []
    for number, name in enumerate(names):
        others = [other for other in range(len(names)) if other != number]
        references = _references(levels, others)
        if not references:
            continue
        outside, departs = against(references, levels[number])
        checked.append(LeftOut(file=name, outside_share=outside, departs=departs))
    return tuple(checked)


def against(references: Sequence[Reference], own: Levels) -> tuple[float, bool]:
    """Share of places outside the 95 % band, and whether a departure would be stated."""
    outside, chances = [], []
    for reference in references:
        if reference.where not in own:
            continue
        level = own[reference.where]
        low, high = expected(
            reference.middle_db, reference.spread_db, reference.count, confidence=0.95
        )
        known = np.isfinite(level) & np.isfinite(low)
        outside.append(((level < low) | (level > high))[known])
        chances.append(
            chance(level, reference.middle_db, reference.spread_db, reference.count)[known]
        )
    if not outside:
        return 0.0, False
    p = np.concatenate(chances)
    return float(np.mean(np.concatenate(outside))), bool(choose(p).claimed.any())
