"""A new unit held against a baseline: where it stands above what good units show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinlab.analysis import Analysis
from spinlab.baseline.band import chance, expected
from spinlab.baseline.levels import levels_of_log, levels_of_sound
from spinlab.baseline.make import Levels
from spinlab.baseline.value import Baseline, Held, Place, Reference
from spinlab.comparison.align import SAME_SPEED, SpeedBin, speed_bins
from spinlab.comparison.allowed import gaps, why_no_orders
from spinlab.comparison.names import known_lines, name_of
from spinlab.comparison.spectra import LEAST_TURNS
from spinlab.comparison.statistics import choose
from spinlab.comparison.value import Limit, Statement
from spinlab.comparison.words import band_words, number
from spinlab.finding import State
from spinlab.phrase import Phrase, clause, many, say, sentence

_CONFIDENCE = 0.95
_MOST_STATEMENTS = 12


def hold_against(baseline: Baseline, analysis: Analysis) -> Held:
    """Hold one recording against a baseline.

    Only levels above the band are stated: a good unit may well be quieter than the others.

    Args:
        baseline: of the same model.
        analysis: of the new unit, recorded as the baseline's were.
    """
    limits = [*_unfit(baseline, analysis)]
    own: Levels = {} if limits else _levels(baseline, analysis, limits)
    places = _places(baseline.references, own, analysis)
    chosen = choose([place.probability for place in places])
    judged = tuple(
        replace(place, adjusted=float(p), departs=bool(yes))
        for place, p, yes in zip(places, chosen.adjusted, chosen.claimed, strict=True)
    )
    departing = [place for place in judged if place.departs]
    statements = tuple(_statements(departing))
    state: State = "attention" if departing else "clear" if judged else "not measurable"
    outside = [not place.low_db <= place.level_db <= place.high_db for place in judged]
    return Held(
        file=analysis.recording.source.file,
        sha256=analysis.recording.source.sha256,
        state=state,
        sentence=_outcome(state, statements, len(judged), len(baseline.recordings)),
        statements=statements,
        places=judged,
        outside_share=float(np.mean(outside)) if outside else None,
        limits=tuple(limits),
    )


def _unfit(baseline: Baseline, analysis: Analysis) -> list[Limit]:
    kind = analysis.recording.kind
    if kind != baseline.kind:
        return [
            Limit(
                what=say("this recording"),
                reason=say(
                    "It is {kind}; the baseline was made of {other}.",
                    kind=kind,
                    other=baseline.kind,
                ),
                remedy=say("Record the new unit as the good ones were recorded."),
            )
        ]
    if why := why_no_orders(analysis, say("this recording")):
        return [Limit(what=say("this recording"), reason=sentence(why))]
    if kind == "sound" and analysis.recording.rate_hz < 0.999 * baseline.rate_hz:
        return [
            Limit(
                what=say("this recording"),
                reason=say(
                    "It has {own:g} samples a second, the baseline {other:g}.",
                    own=analysis.recording.rate_hz,
                    other=baseline.rate_hz,
                ),
                remedy=say("Record at the highest quality that the phone offers."),
            )
        ]
    return []


def _levels(baseline: Baseline, analysis: Analysis, limits: list[Limit]) -> Levels:
    """The new unit's levels at the baseline's speeds; what is missing is added to `limits`."""
    found: Levels = {}
    speeds = sorted({one.where.speed_rpm for one in baseline.references})
    for speed in speeds:
        spans = _bin(analysis, speed)
        if spans is None:
            limits.append(
                Limit(
                    what=say("{speed:.0f} rpm", speed=speed),
                    reason=say(
                        "The drum did not hold this speed for {turns:.0f} turns.",
                        turns=LEAST_TURNS,
                    ),
                )
            )
            continue
        if baseline.kind == "acceleration":
            found |= levels_of_log(analysis, speed)
            continue
        found |= _sound(baseline, analysis, replace(spans, speed_rpm=speed), speeds[-1], limits)
    return found


def _bin(analysis: Analysis, speed_rpm: float) -> SpeedBin | None:
    bins = speed_bins([analysis.track], gaps=[gaps(analysis)], least_turns=LEAST_TURNS / 2)
    near = [one for one in bins if abs(one.speed_rpm - speed_rpm) <= SAME_SPEED * speed_rpm]
    return min(near, key=lambda one: abs(one.speed_rpm - speed_rpm), default=None)


def _sound(
    baseline: Baseline, analysis: Analysis, one: SpeedBin, top_rpm: float, limits: list[Limit]
) -> Levels:
    usable = analysis.quality.usable_band_hz or (0.0, 0.0)
    wanted = [
        band
        for band in dict.fromkeys(
            r.where.band for r in baseline.references if r.where.speed_rpm == one.speed_rpm
        )
        if band is not None
    ]
    bands = [band for band in wanted if usable[0] <= band.low_hz and band.high_hz <= usable[1]]
    for band in wanted:
        if band not in bands:
            limits.append(
                Limit(
                    what=say(
                        "the envelope of {band} at {speed:.0f} rpm",
                        band=band_words(band),
                        speed=one.speed_rpm,
                    ),
                    reason=say("This recording ends at {end:.0f} Hz.", end=usable[1]),
                )
            )
    return levels_of_sound(
        analysis,
        one,
        0,
        bands,
        rate_hz=baseline.rate_hz,
        usable_band_hz=usable,
        top_rpm=top_rpm,
    )


def _places(references: Sequence[Reference], own: Levels, analysis: Analysis) -> list[Place]:
    names = known_lines(analysis.machine, analysis, analysis)
    found = []
    for reference in references:
        if reference.where not in own:
            continue
        level = own[reference.where]
        bounds = (reference.middle_db, reference.spread_db, reference.count)
        low, high = expected(*bounds, confidence=_CONFIDENCE)
        p = chance(level, *bounds)
        for k in np.flatnonzero(np.isfinite(level) & np.isfinite(low)):
            name = name_of(float(reference.order[k]), names)
            found.append(
                Place(
                    where=reference.where,
                    order=float(reference.order[k]),
                    label=name.label if name else "",
                    level_db=float(level[k]),
                    middle_db=float(reference.middle_db[k]),
                    low_db=float(low[k]),
                    high_db=float(high[k]),
                    probability=float(p[k]),
                )
            )
    return found


def _statements(departing: Sequence[Place]) -> list[Statement]:
    """One sentence for each order: its surest place first."""
    groups: dict[float, list[Place]] = {}
    for place in sorted(departing, key=lambda place: place.probability):
        groups.setdefault(place.order, []).append(place)
    return [
        Statement(sentence=_departure(order, group), direction=1)
        for order, group in list(groups.items())[:_MOST_STATEMENTS]
    ]


def _departure(order: float, group: Sequence[Place]) -> Phrase:
    best = group[0]
    told = say(
        "At {speed:.0f} rpm, {line} stands {above} dB above the middle of the good units, whose "
        "95 % band ends {edge} dB above it",
        speed=best.where.speed_rpm,
        line=_line(order, best),
        above=number(best.level_db - best.middle_db),
        edge=number(best.high_db - best.middle_db),
    )
    if len(group) == 1:
        return sentence(told)
    return many(
        "{departure}; one more place at this order likewise.",
        "{departure}; {count} more places at this order likewise.",
        count=len(group) - 1,
        departure=told,
    )


def _line(order: float, place: Place) -> Phrase:
    """An order with what makes it and where it is heard, as far as either is known."""
    line = say("order {order}", order=number(order, 2))
    if place.label:
        line = Phrase("{line} ({label})", {"line": line, "label": place.label})
    if place.where.band is None:
        return line
    band = band_words(place.where.band)
    return say("{line} in the envelope of {band}", line=line, band=band)


def _outcome(state: State, statements: Sequence[Statement], places: int, count: int) -> str:
    if state == "not measurable":
        return say("Nothing could be held against the baseline; the reasons are listed.")
    if state == "clear":
        return say(
            "Within what {count} good recordings show, at {places} places looked at.",
            count=count,
            places=places,
        )
    first = statements[0].sentence
    if len(statements) == 1:
        return first
    return many(
        "{first}; one more order departs.",
        "{first}; {count} more orders depart.",
        count=len(statements) - 1,
        first=clause(first),
    )
