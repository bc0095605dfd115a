"""The search for bearing damage in one recording, from the samples to the evidence.

Order of steps: turning stretches -> groups of bearings by shaft -> pre-whitened envelopes of many
bands over angle -> whitened order spectra -> harmonic test, strongest first -> stage by stage ->
what fits no listed bearing -> broadband noise against speed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinlab.bearings.evidence import (
    LOOKS,
    BearingEvidence,
    Competitor,
    EnvelopeCurve,
    SpeedTest,
    StageEvidence,
)
from spinlab.bearings.excerpt import steady_kurtogram
from spinlab.bearings.explain import Explained, explain, patterns_of
from spinlab.bearings.geometry import BearingGeometry, MountedBearing
from spinlab.bearings.group import (
    DRUM_GROUP_BELOW,
    Group,
    analysed_spans,
    build_group,
    carrier_range,
    fastest_race_hz,
    speed_uncertainty,
    top_speed_hz,
    whiten,
)
from spinlab.bearings.roar import read_roar
from spinlab.bearings.stagewise import stage_evidence, test_speed
from spinlab.bearings.unknown import unknown_families
from spinlab.envelope.significance import line_threshold
from spinlab.orders import Span
from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

# Fewer turns than this resolve no order: lines are then wider than 0.1.
LEAST_TURNS = 25.0
# The band must at least be open this far, as a ratio of its ends.
LEAST_BAND_RATIO = 1.6
# Lifters and spider arms: three as a rule, six at most; common practice, no published source.
MOST_PLACES_ON_DRUM = 6
# Stands in for a bearing when none is listed: any race that the blind search could meet.
_STAND_IN = MountedBearing(
    name="unlisted bearing",
    geometry=BearingGeometry(designation="", balls=9, ball_diameter_mm=8.0, pitch_diameter_mm=39.0),
)


def detect(
    recording: Recording,
    track: SpeedTrack,
    bearings: Sequence[MountedBearing],
    *,
    competitors: Sequence[Competitor] = (),
    usable_band_hz: tuple[float, float] | None = None,
    mains_hz: float | None = None,
    least_rpm: float = 150.0,
    longest_s: float = 180.0,
    catalogue: Sequence[BearingGeometry] = (),
    belt_known: bool = False,
    courses: float = 1.0,
    listed_only: bool = False,
) -> BearingEvidence:
    """Look for damage in every listed bearing, at constant or changing speed.

    Args:
        recording: sound or acceleration; up to three channels are used.
        track: the drum's speed.
        bearings: the bearings in their places; empty for a blind search.
        competitors: other known causes of lines.  The drum's own turning, and the motor's where
            the track knows its ratio, are always among them.
        usable_band_hz: what the recording really holds; all of it if None.
        mains_hz: the mains frequency; the track's, or both, if None.
        least_rpm: slower stretches are left out.
        longest_s: at most this much is analysed, spread evenly over longer recordings.
        catalogue: rows with which to explain a family that fits no listed bearing.
        belt_known: the belt is among the competitors, or there is none.
        courses: of how many the track was chosen for what is looked for along it; every p of a
            listed bearing is corrected for them.
        listed_only: neither what fits no listed bearing nor wear all round is looked for.

    Returns:
        The evidence; `reason` says why there is none.
    """
    spans = analysed_spans(track, least_rpm=least_rpm, longest_s=longest_s)
    reason = _why_not(track, spans, least_rpm)
    if reason:
        return BearingEvidence(reason=reason)
    causes = (*own_causes(track), *competitors)
    mains = track.mains_hz.value if mains_hz is None and track.mains_hz else mains_hz
    stretches = whiten(recording, spans)
    groups: list[Group] = []
    kurtogram = None
    for listed in _split(bearings):
        fastest = fastest_race_hz(listed, top_speed_hz(track, spans))
        carrier = carrier_range(recording, fastest, usable_band_hz)
        if carrier[1] < LEAST_BAND_RATIO * carrier[0]:
            reason = _band_reason(carrier, usable_band_hz, recording)
            continue
        if kurtogram is None:
            kurtogram = steady_kurtogram(stretches, track, carrier, fastest_hz=fastest)
        groups.append(
            build_group(
                stretches,
                track,
                listed,
                carrier,
                kurtogram=kurtogram,
                competitors=causes,
                mains_hz=mains,
            )
        )
    if not groups:
        return BearingEvidence(reason=reason)
    evidence = _evidence(
        recording,
        track,
        bearings,
        groups,
        causes,
        catalogue,
        courses=courses,
        listed_only=listed_only,
    )
    roar = evidence.roar
    if roar is not None:
        roar = replace(roar, belt_known=belt_known)
    return replace(evidence, kurtogram=kurtogram, roar=roar)


def own_causes(track: SpeedTrack) -> tuple[Competitor, ...]:
    """The causes every machine has: the drum's turning, and the motor's where it is known."""
    causes = [
        Competitor(
            cause="drum turn (knock, eccentricity)", order=1.0, most_places=MOST_PLACES_ON_DRUM
        )
    ]
    ratio = track.motor_ratio
    if ratio is not None and ratio.value > 1.5:
        causes.append(
            Competitor(
                cause="motor turn (slots, commutation)",
                order=ratio.value,
                standard_uncertainty=ratio.standard_uncertainty,
            )
        )
    return tuple(causes)


def _why_not(track: SpeedTrack, spans: Sequence[Span], least_rpm: float) -> str:
    if track.scale == "relative":
        return "the speed is known in ratio only, so no line can be given its order"
    if not spans:
        return say("the drum is never known to turn faster than {least:g} rpm", least=least_rpm)
    turns = sum(float(np.diff(track.turns_at(np.array(span)))[0]) for span in spans)
    if turns < LEAST_TURNS:
        return say(
            "only {turns:.0f} turns at a known speed; at least {least_turns:.0f} "
            "are needed to tell orders apart",
            turns=turns,
            least_turns=LEAST_TURNS,
        )
    return ""


def _band_reason(
    carrier: tuple[float, float],
    usable_band_hz: tuple[float, float] | None,
    recording: Recording,
) -> str:
    top = 0.5 * recording.rate_hz if usable_band_hz is None else usable_band_hz[1]
    return say(
        "the recording holds nothing usable above {top:.0f} Hz, and bearings "
        "ring above {least_band_ratio:.0f} Hz",
        top=top,
        least_band_ratio=LEAST_BAND_RATIO * carrier[0],
    )


def _split(bearings: Sequence[MountedBearing]) -> list[list[MountedBearing]]:
    listed = list(bearings) or [_STAND_IN]
    slow = [b for b in listed if b.shaft_order.value < DRUM_GROUP_BELOW]
    fast = [b for b in listed if b.shaft_order.value >= DRUM_GROUP_BELOW]
    return [group for group in (slow, fast) if group]


def _evidence(
    recording: Recording,
    track: SpeedTrack,
    bearings: Sequence[MountedBearing],
    groups: Sequence[Group],
    causes: Sequence[Competitor],
    catalogue: Sequence[BearingGeometry],
    *,
    courses: float,
    listed_only: bool,
) -> BearingEvidence:
    spans = groups[0].spans
    uncertainty = speed_uncertainty(track, spans)
    result = _nothing_listed(groups)
    if bearings:
        result = explain(groups, uncertainty, causes, courses=courses)
    stages: list[tuple[StageEvidence, ...]] = []
    tests: list[SpeedTest] = []
    for hypothesis, home in zip(result.hypotheses[: result.leaders], result.groups, strict=False):
        group = groups[home]
        ways = patterns_of(hypothesis.bearing, hypothesis.fault)
        rows = stage_evidence(group, track, hypothesis, causes, uncertainty, ways)
        stages.append(rows)
        tests.append(test_speed(group, track, hypothesis, rows, causes, uncertainty, ways))
    first = groups[0]
    carrier = (
        min(m.band.low_hz for m in first.merits),
        max(m.band.high_hz for m in first.merits),
    )
    return BearingEvidence(
        hypotheses=result.hypotheses,
        stages=tuple(stages),
        speed_tests=tuple(tests),
        unknown=()
        if listed_only
        else unknown_families(first, result.spectra[0][0], causes, catalogue, track, uncertainty),
        merits=tuple(merit for group in groups for merit in group.merits),
        curve=_curve(groups, result),
        roar=None
        if listed_only
        else read_roar(
            recording, track, first, bearings, carrier, uncertainty=uncertainty, causes=causes
        ),
        competitors=tuple(causes),
        turns=first.turns,
        analysed_s=sum(span.end_s - span.start_s for span in spans),
        usable_band_hz=carrier,
        tests=result.tests,
    )


def _nothing_listed(groups: Sequence[Group]) -> Explained:
    return Explained(
        hypotheses=(), groups=(), leaders=0, spectra=tuple(g.looks for g in groups), tests=0
    )


def _curve(groups: Sequence[Group], result: Explained) -> EnvelopeCurve:
    """The spectrum to draw: the leading hypothesis's band, or the band of most cyclic content."""
    group = groups[result.groups[0]] if result.groups else groups[0]
    spectra = group.spectra
    if result.leaders:
        index = group.index_of(result.hypotheses[0].band)
        spectra = group.looks[LOOKS.index(result.hypotheses[0].look)]
    else:
        index = int(np.argmax([m.cyclic_depth * m.weight for m in group.merits]))
    level = spectra.level[index]
    return EnvelopeCurve(
        order=np.arange(len(level), dtype=np.float64) * spectra.step,
        level=level,
        threshold=line_threshold(0.01, lines=len(level)),
        band=group.merits[index].band,
    )
