"""Stage by stage: is the family there in every stretch, and does it move with the speed?

A bearing's line keeps its order; a line that keeps its frequency while the drum changes speed
comes from something that does not turn with the drum.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.angle import over_angle
from spinlab.bearings.evidence import Competitor, Follows, SpeedTest, StageEvidence
from spinlab.bearings.group import Group
from spinlab.bearings.patterns import Pattern, counted, harmonics_pattern
from spinlab.bearings.score import harmonic_nepers
from spinlab.bearings.spectra import EnvelopeSpectra, competing_lines, envelope_spectra
from spinlab.envelope.kurtosis import Band
from spinlab.envelope.significance import log_any, log_survival
from spinlab.orders import Span
from spinlab.phrase import say
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

# Fewer turns than this resolve an order to no better than 0.15.
LEAST_TURNS = 15.0
# Speeds this far apart move a line by more than any tolerance of its order.
LEAST_SPEED_RATIO = 1.12
# Odds of ten to one decide between a fixed order and a fixed frequency.
DECIDED_LOG10 = 1.0
# Damage grows louder with speed: lines this clear at one speed must show at a higher one that
# holds at least this share of the turns.
_STANDING_LOG10 = -3.0
_MISSING_LOG10 = -1.0
_COMPARABLE_TURNS = 0.7
_LN10 = float(np.log(10.0))
_NAMED = ("plateau", "ramp", "coasting")


class Located(Protocol):
    """Lines at a place: a hypothesis of a listed bearing, or a family of no bearing known."""

    @property
    def order(self) -> float:
        """First harmonic, drum orders."""

    @property
    def line_width(self) -> float:
        """Relative width over which each harmonic is gathered."""

    @property
    def band(self) -> Band:
        """The band they stand in."""


def stretches(track: SpeedTrack, spans: Sequence[Span]) -> tuple[tuple[Span, str], ...]:
    """The analysed stretches cut where the track's motion changes, each with its motion."""
    parts = []
    for span in spans:
        inside = np.flatnonzero(
            (track.time_s >= span.start_s) & (track.time_s <= span.end_s) & track.known
        )
        if len(inside) < 2:
            continue
        names = [str(track.motion[i]) for i in inside]
        names = [name if name in _NAMED else "unknown" for name in names]
        cuts = [0, *(k for k in range(1, len(names)) if names[k] != names[k - 1]), len(names)]
        for begin, end in itertools.pairwise(cuts):
            first, last = inside[begin], inside[min(end, len(inside) - 1)]
            part = Span(float(track.time_s[first]), float(track.time_s[last]))
            parts.append((part, names[begin]))
    return tuple(parts)


def stage_evidence(
    group: Group,
    track: SpeedTrack,
    lines: Located,
    competitors: Sequence[Competitor],
    uncertainty: float,
    patterns: Sequence[Pattern] = (),
) -> tuple[StageEvidence, ...]:
    """The family in each stretch that is long enough, in the pattern it stands out in most."""
    rows = []
    for span, motion, spectra in _stretch_spectra(group, track, lines, competitors, uncertainty):
        turns = 1.0 / spectra.step
        speed = turns / (span.end_s - span.start_s) * 60.0
        log_p, snr_db = _at(spectra, lines.order, lines.line_width, patterns)
        rows.append(
            StageEvidence(
                start_s=span.start_s,
                end_s=span.end_s,
                motion=motion,
                speed_rpm=speed,
                turns=turns,
                snr_db=snr_db,
                log10_p=log_p / _LN10,
            )
        )
    return tuple(rows)


def test_speed(
    group: Group,
    track: SpeedTrack,
    lines: Located,
    stages: Sequence[StageEvidence],
    competitors: Sequence[Competitor],
    uncertainty: float,
    patterns: Sequence[Pattern],
) -> SpeedTest:
    """Compare a fixed order with a fixed frequency over stretches of different speed.

    The frequency is the one the family has in its strongest stretch; both readings share that
    stretch, so only the others decide.
    """
    if not stages:
        return _untested("no stretch is long enough to be looked at by itself")
    strongest = min(stages, key=lambda stage: stage.log10_p)
    others = [
        s
        for s in stages
        if max(s.speed_rpm, strongest.speed_rpm) / min(s.speed_rpm, strongest.speed_rpm)
        >= LEAST_SPEED_RATIO
    ]
    if not others:
        return _untested("the recording holds one speed only; a run-up or a second plateau tells")
    by_start = {
        span.start_s: spectra
        for span, _, spectra in _stretch_spectra(group, track, lines, competitors, uncertainty)
    }
    odds = surest = 0.0
    for stage in others:
        elsewhere = lines.order * strongest.speed_rpm / stage.speed_rpm
        fixed, _ = _at(by_start[stage.start_s], elsewhere, lines.line_width, patterns)
        odds += fixed / _LN10 - stage.log10_p
        surest += _log10_odds(stage.log10_p * _LN10) - _log10_odds(fixed)
    return _verdict(odds, surest, others, strongest)


def _log10_odds(log_p: float) -> float:
    """log10 of the most that a p can say against chance: 1/(-e p ln p), none from p = 1/e on.

    Sellke, Bayarri and Berger, The American Statistician 55 (2001) 62-71.  Of two readings that
    noise alone made one is ten times as rare as the other every fifth time; their odds hardly ever.
    """
    return 0.0 if log_p > -1.0 else -(1.0 + log_p + math.log(-log_p)) / _LN10


def _untested(reason: str) -> SpeedTest:
    return SpeedTest(follows="not tested", log10_odds=0.0, reason=reason)


def _verdict(
    odds: float, surest: float, others: Sequence[StageEvidence], strongest: StageEvidence
) -> SpeedTest:
    """What the odds say; `surest` are the most that the same p allow.

    That lines stay at their frequency all but rules the damage out: two faint readings, of which
    chance has made one the rarer, must not say it.
    """
    speeds = [stage.speed_rpm for stage in (strongest, *others)]
    where = say("from {speeds:.0f} to {speeds2:.0f} rpm", speeds=min(speeds), speeds2=max(speeds))
    follows: Follows = "not tested"
    reason = say("the lines are too weak outside one stretch to tell {where}", where=where)
    missing = [
        stage
        for stage in others
        if stage.speed_rpm > strongest.speed_rpm
        and stage.turns >= _COMPARABLE_TURNS * strongest.turns
        and stage.log10_p > _MISSING_LOG10
    ]
    if odds >= DECIDED_LOG10:
        follows, reason = "yes", say("the lines keep their order {where}", where=where)
    elif max(odds, surest) <= -DECIDED_LOG10:
        follows, reason = "no", say("the lines keep their frequency {where}", where=where)
    elif missing and strongest.log10_p < _STANDING_LOG10:
        follows = "one stretch"
        reason = say(
            "the lines stand at {speed:.0f} rpm only and are missing at {speed2:.0f} rpm",
            speed=strongest.speed_rpm,
            speed2=missing[-1].speed_rpm,
        )
    return SpeedTest(follows=follows, log10_odds=odds, reason=reason)


def _stretch_spectra(
    group: Group,
    track: SpeedTrack,
    lines: Located,
    competitors: Sequence[Competitor],
    uncertainty: float,
) -> list[tuple[Span, str, EnvelopeSpectra]]:
    found = []
    highest = group.spectra.highest_order
    known = competing_lines(competitors, highest, uncertainty)
    for parts, home in zip(group.pieces, group.spans, strict=True):
        piece = next(part for part in parts if lines.band in part.bands)
        index = piece.bands.index(lines.band)
        row = slice(index, index + 1)
        for span, motion in stretches(track, [home]):
            cells = over_angle(piece, track, span, group.cells_per_turn, bands=row)
            if cells.shape[1] < LEAST_TURNS * group.cells_per_turn:
                continue
            spectra = envelope_spectra(cells, group.cells_per_turn, highest_order=highest)
            found.append((span, motion, spectra.without(known)))
    return found


def _at(
    spectra: EnvelopeSpectra, order: float, width: float, patterns: Sequence[Pattern]
) -> tuple[float, float]:
    """Natural log of p of a family at a known order, and the mean level of its lines in dB."""
    ways = tuple(patterns) or (harmonics_pattern(),)
    log_p, level_db = min(_of_pattern(spectra, order, width, pattern) for pattern in ways)
    return float(log_any(log_p, len(ways))), level_db


def _of_pattern(
    spectra: EnvelopeSpectra, order: float, width: float, pattern: Pattern
) -> tuple[float, float]:
    reach = max(width * order, 0.5 * spectra.step)
    orders = np.linspace(order - reach, order + reach, 9)
    nepers, valid = harmonic_nepers(spectra, orders, width, pattern)
    harmonics = valid.sum(axis=-1)
    if not harmonics.any():
        return 0.0, 0.0
    log_p = log_survival(np.maximum(harmonics, 1), counted(nepers[0], pattern))
    place = int(np.argmin(np.where(harmonics > 0, log_p, 0.0)))
    # Three positions of nine are independent within one line of the first harmonic.
    best = float(log_any(log_p[place], 3.0))
    lines = orders[place] * pattern.multiple + pattern.offset
    places = np.rint(lines[valid[place]] / spectra.step).astype(int)
    level = float(np.mean(spectra.level[0, places[places < spectra.level.shape[1]]]))
    return best, 10.0 * float(np.log10(max(level, 1e-3)))
