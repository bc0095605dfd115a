"""What was measured about the bearings, as frozen values: no thresholds, no verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.geometry import BearingGeometry, Fault, MountedBearing
from spinlab.envelope.bands import BandMerit
from spinlab.envelope.kurtosis import Band, Kurtogram

Array = NDArray[np.float64]
Follows = Literal["yes", "no", "one stretch", "not tested"]
# Which part of the recording was looked at: all of it, or where the drum was fast or slow.
Look = Literal["whole", "fast", "slow"]
LOOKS: tuple[Look, ...] = ("whole", "fast", "slow")


@dataclass(frozen=True, kw_only=True)
class Competitor:
    """Something else that makes lines at known orders: slots, belt, commutator, a knock.

    Attributes:
        cause: what it is, in plain words.
        order: its order on the drum's scale; every multiple is taken to be possible.
        standard_uncertainty: of the order.
        most_places: the most alike places that its turn may hold (a belt's one splice, a drum's
            lifters): blows at a higher multiple alone cannot be its; None where that is open.
    """

    cause: str
    order: float
    standard_uncertainty: float = 0.0
    most_places: int | None = None


@dataclass(frozen=True, kw_only=True)
class LineEvidence:
    """One line of a family.

    Attributes:
        label: e.g. "1 x BPFO", "1 x BPFI - 1 x shaft".
        order: order on the drum's scale at which it was read.
        snr_db: level over the local noise, dB.
        log10_p: log10 of the chance that noise alone makes it so high at this very place.
        depth: modulation depth, amplitude over the mean of the squared envelope.
    """

    label: str
    order: float
    snr_db: float
    log10_p: float
    depth: float


@dataclass(frozen=True, kw_only=True)
class StageEvidence:
    """The same family in one stretch of the recording.

    Attributes:
        start_s, end_s: the stretch, on the file's own clock.
        motion: "plateau", "ramp", "coasting" or "unknown".
        speed_rpm: mean drum speed.
        turns: drum turns.
        snr_db: mean level of the harmonics over the noise, dB.
        log10_p: log10 of the chance that noise makes the family so strong here.
    """

    start_s: float
    end_s: float
    motion: str
    speed_rpm: float
    turns: float
    snr_db: float
    log10_p: float


@dataclass(frozen=True, kw_only=True)
class Hypothesis:
    """One kind of damage in one bearing, and what the recording says about it.

    Attributes:
        bearing: where it would be.
        fault: what it would be.
        expected_order: from geometry, on the drum's scale.
        order: the order that fits best within the searched range.
        range: lowest and highest order searched.
        log10_p: log10 of the chance of so strong a family somewhere in everything searched
            (orders, widths, bands, bearings, kinds of damage), from the chi-square law.
        band: the band it was found in.
        look: in which part of the recording it stands out most.
        line_width: relative width over which each harmonic was gathered.
        harmonics, sidebands: lines of the family.
        sidebands_log10_p: log10 of the chance of sidebands this strong.
        depth: modulation depth of the strongest harmonic.
        share: how much of all lines that stand out in the band the family explains, 0 to 1;
            0 where chance explains the family.
        family_depth: modulation depth of all its lines together; 0 likewise.
        least_depth: depth that would have been found (the fundamental, at one in a thousand).
        companions: other damage of the same bearing that shows lines of its own beside it, at
            places where the family's sidebands are not.
        coincides: names of other causes whose order falls on the family's first harmonic.
        incomplete: likewise, but the cause's lower multiples, which it would have to show too,
            are missing.
        fractions: n where lines at whole n-ths of a turn explain as much (a speed read at a
            multiple?); 1 where they do not.
        also_fits: other hypotheses that the same lines fit as well, as (bearing, fault).
    """

    bearing: MountedBearing
    fault: Fault
    expected_order: float
    order: float
    range: tuple[float, float]
    log10_p: float
    band: Band
    look: Look
    line_width: float
    harmonics: tuple[LineEvidence, ...]
    sidebands: tuple[LineEvidence, ...]
    sidebands_log10_p: float
    depth: float
    share: float
    family_depth: float
    least_depth: float
    companions: tuple[Fault, ...] = ()
    coincides: tuple[str, ...] = ()
    incomplete: tuple[str, ...] = ()
    fractions: int = 1
    also_fits: tuple[tuple[str, Fault], ...] = ()


@dataclass(frozen=True, kw_only=True)
class SpeedTest:
    """Does the family move with the drum's speed, or stay at one frequency?

    Attributes:
        follows: "yes"; "no" where the lines keep their frequency; "one stretch" where they stand
            at one speed and are missing at a higher one that would have shown them; "not tested"
            where the recording has one speed only or the lines are too weak to tell.
        log10_odds: log10 of (order hypothesis : constant-frequency hypothesis), 0 if not tested.
        reason: one sentence.
    """

    follows: Follows
    log10_odds: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class CandidateRow:
    """A catalogue row that would explain an unknown family."""

    geometry: BearingGeometry
    fault: Fault
    expected_order: float
    misfit: float


@dataclass(frozen=True, kw_only=True)
class Family:
    """A family of lines at a non-integer order that belongs to no listed bearing.

    Attributes:
        order: first harmonic on the drum's scale.
        log10_p: log10 of the chance of one this strong anywhere.
        share, family_depth: as in `Hypothesis`.
        harmonics: its lines.
        band, line_width: where and over which relative width its lines were gathered.
        rows: catalogue rows that explain it best, closest first.
        cause: the competing cause it coincides with, "" if none.
        speed: whether it moves with the drum; None where chance explains it well enough.
    """

    order: float
    log10_p: float
    band: Band
    line_width: float
    share: float
    family_depth: float
    harmonics: tuple[LineEvidence, ...]
    rows: tuple[CandidateRow, ...]
    cause: str = ""
    speed: SpeedTest | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class EnvelopeCurve:
    """The squared envelope order spectrum of one band, for plotting.

    Attributes:
        order: shape (n,).
        level: shape (n,), multiples of the local mean noise line.
        threshold: level that the highest of all lines of pure noise passes with p = 0.01.
        band: the band.
    """

    order: Array
    level: Array
    threshold: float
    band: Band


@dataclass(frozen=True, kw_only=True, eq=False)
class Roar:
    """Broadband high-frequency noise against speed: what late damage or dry running does.

    Attributes:
        speed_rpm: shape (n,), mean speed of each stretch.
        level_db: shape (n,), level in the band relative to the slowest stretch.
        slope_db_per_decade: level against the logarithm of speed.
        slope_standard_uncertainty: of the slope.
        kurtosis: shape (n,), excess kurtosis of the squared envelope's carrier per stretch.
        cage_line: the strongest line at any listed bearing's cage rate, any band; its `log10_p`
            is corrected for all of them, and that of both lines where `ball_pass_line` stands
            too.  None where no bearing is listed.
        ball_pass_line: the line of the balls that the same cage carries past the fixed ring, where
            the two together are rarer than the first alone.
        cage_share: how much of all lines that stand out in that band both lines, and what a load
            that turns makes of them, explain, 0 to 1.
        coincides: names of other causes that turn, or beat with the shaft, at the cage's rate.
        belt_known: the belt was among those causes, or there is none.
        turn_modulation: depth of the widest band's envelope once a turn.
        above_background_db: level at top speed over the quietest stretch of the recording.
        band: the band looked at.
    """

    speed_rpm: Array
    level_db: Array
    slope_db_per_decade: float
    slope_standard_uncertainty: float
    kurtosis: Array
    cage_line: LineEvidence | None
    ball_pass_line: LineEvidence | None
    cage_share: float
    turn_modulation: float
    above_background_db: float
    band: Band
    coincides: tuple[str, ...] = ()
    belt_known: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class BearingEvidence:
    """Everything the recording says about the bearings.

    Attributes:
        hypotheses: every listed bearing and kind of damage, strongest evidence first.
        stages: per hypothesis index (same order, leading ones only) the stage by stage evidence.
        speed_tests: likewise, whether the family moves with speed.
        unknown: non-integer families that no listed bearing explains.
        merits: the bands looked at and their weights.
        kurtogram: spectral kurtosis of the fastest steady part, None if too short.
        curve: the order spectrum of the leading hypothesis's band.
        roar: broadband noise against speed, None if it could not be read.
        competitors: other causes whose orders were set aside.
        turns: drum turns analysed.
        analysed_s: seconds analysed.
        usable_band_hz: band that was open to the search.
        tests: number of hypotheses corrected for.
        reason: why nothing could be measured; empty otherwise.
    """

    hypotheses: tuple[Hypothesis, ...] = ()
    stages: tuple[tuple[StageEvidence, ...], ...] = ()
    speed_tests: tuple[SpeedTest, ...] = ()
    unknown: tuple[Family, ...] = ()
    merits: tuple[BandMerit, ...] = ()
    kurtogram: Kurtogram | None = None
    curve: EnvelopeCurve | None = None
    roar: Roar | None = None
    competitors: tuple[Competitor, ...] = ()
    turns: float = 0.0
    analysed_s: float = 0.0
    usable_band_hz: tuple[float, float] = (0.0, 0.0)
    tests: int = 0
    reason: str = ""
