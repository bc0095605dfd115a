"""Speed over time as proof: a stage beside what was asked, ramps given up, hunting, coasting."""

from __future__ import annotations

import numpy as np

from spinlab.finding import Finding
from spinlab.phrase import say
from spinlab.proofs.value import Array, Chart, Curve, Mark, Zone
from spinlab.result import Analysed
from spinlab.speed.track import SpeedTrack

# Coverage factor of the drawn band: about 95 % (GUM, JCGM 100:2008, 6.3.3).
_COVERAGE_FACTOR = 2.0
# Shown before and after the stretch that is proved.
_BEFORE_S, _AFTER_S = 8.0, 5.0
_MOST_POINTS = 1500

TIME = say("Time in the file (min:s)")
SPEED = say("Drum speed (rpm)")


def speed_curve(track: SpeedTrack, from_s: float, to_s: float) -> Curve | None:
    """The measured speed in a stretch with its 95 % band; None where nothing is known there."""
    inside = np.flatnonzero((track.time_s >= from_s) & (track.time_s <= to_s))
    inside = inside[:: max(1, -(-len(inside) // _MOST_POINTS))]
    speed = track.speed_rpm[inside]
    if not np.any(np.isfinite(speed)):
        return None
    half = _COVERAGE_FACTOR * track.standard_uncertainty_rpm[inside]
    return Curve(
        x=track.time_s[inside], y=speed, low=np.maximum(speed - half, 0), high=speed + half
    )


def stage_chart(finding: Finding, analysis: Analysed) -> Chart | None:
    """A stage's speed beside what was asked, or the whole run where a stage is missing."""
    seen, asked = finding.evidence, finding.evidence.get("asked_rpm")
    start_s, end_s = seen.get("start_s"), seen.get("end_s")
    if asked is not None and start_s is not None and end_s is not None:
        return _one_stage(finding, analysis, float(asked), float(start_s), float(end_s))
    missed = seen.get("missed_rpm") or ([asked] if asked is not None else [])
    whole = analysis.recording
    curve = speed_curve(analysis.track, whole.start_s, whole.end_s)
    if curve is None or "tones" in seen or "pump_phases_s" in seen:
        return None
    expected = [s.expected_rpm for s in analysis.stages.stages if s.expected_rpm is not None]
    names = {
        rpm: say("asked {rpm:.0f}, never held", rpm=rpm)
        if rpm in missed
        else say("asked {rpm:.0f}", rpm=rpm)
        for rpm in expected
    }
    return Chart(
        title=say("The drum's speed over the whole run, beside the speeds asked for"),
        x_label=TIME,
        y_label=SPEED,
        curves=(curve,),
        zones=tuple(Zone(low=rpm, high=rpm, words=words) for rpm, words in names.items()),
        marks=_fastest(curve) if missed else (),
        time_axis=True,
        from_zero=True,
    )


def _one_stage(
    finding: Finding, analysis: Analysed, asked: float, start_s: float, end_s: float
) -> Chart | None:
    curve = speed_curve(analysis.track, start_s - _BEFORE_S, end_s + _AFTER_S)
    if curve is None:
        return None
    seen = finding.evidence
    allowed = seen.get("allowed_rpm")
    zones = [Zone(low=asked, high=asked, words=say("asked {rpm:.0f}", rpm=asked))]
    if allowed is not None:
        zones.append(Zone(low=asked - allowed, high=asked + allowed, words=say("allowed")))
    marks = []
    speed, u = seen.get("speed_rpm"), seen.get("standard_uncertainty_rpm")
    if speed is not None:
        half = _COVERAGE_FACTOR * (u or 0.0)
        words = say("held {rpm:.1f} ± {half:.1f} rpm", rpm=float(speed), half=half)
        marks.append(Mark(x=0.5 * (start_s + end_s), y=float(speed), words=words))
    return Chart(
        title=say("The stage of {rpm:.0f} rpm: measured speed, and what was asked", rpm=asked),
        x_label=TIME,
        y_label=SPEED,
        curves=(_near(curve, asked),),
        zones=tuple(zones),
        marks=tuple(marks),
        time_axis=True,
    )


def _near(curve: Curve, asked_rpm: float) -> Curve:
    """The part of a curve that lies so near the asked speed that the picture can show both."""
    apart = np.abs(np.nan_to_num(curve.y, nan=np.inf) - asked_rpm) > 0.15 * asked_rpm
    return Curve(
        x=curve.x,
        y=np.where(apart, np.nan, curve.y),
        low=None if curve.low is None else np.where(apart, np.nan, curve.low),
        high=None if curve.high is None else np.where(apart, np.nan, curve.high),
    )


def _fastest(curve: Curve) -> tuple[Mark, ...]:
    top = int(np.nanargmax(curve.y))
    words = say("fastest: {rpm:.0f} rpm", rpm=float(curve.y[top]))
    return (Mark(x=float(curve.x[top]), y=float(curve.y[top]), words=words),)


def oscillation_chart(finding: Finding, analysis: Analysed) -> Chart | None:
    """Ramps given up, or the speed's departure from its mean on the plateau that swings."""
    seen = finding.evidence
    if "times_s" in seen:
        return _retries(finding, analysis)
    if seen.get("of") != "speed" or seen.get("plateau_rpm") is None:
        return None
    return _hunting(analysis, float(seen["plateau_rpm"]), seen.get("limit_percent"))


def _retries(finding: Finding, analysis: Analysed) -> Chart | None:
    seen = finding.evidence
    pairs = list(zip(seen["times_s"], seen["speeds_rpm"], strict=True))
    last_s = max(time for time, _ in pairs)
    curve = speed_curve(analysis.track, analysis.recording.start_s, last_s + 30.0)
    if curve is None:
        return None
    return Chart(
        title=say("Where the ramp was given up"),
        x_label=TIME,
        y_label=SPEED,
        curves=(curve,),
        marks=tuple(
            Mark(x=time, y=speed, words=say("given up at {rpm:.0f}", rpm=speed))
            for time, speed in pairs
        ),
        time_axis=True,
        from_zero=True,
    )


def _hunting(analysis: Analysed, plateau_rpm: float, limit_percent: float | None) -> Chart | None:
    track = analysis.track
    near = (track.motion == "plateau") & (np.abs(track.speed_rpm / plateau_rpm - 1.0) < 0.05)
    index = np.flatnonzero(near)
    if len(index) < 2:
        return None
    curve = speed_curve(track, float(track.time_s[index[0]]), float(track.time_s[index[-1]]))
    if curve is None or curve.low is None or curve.high is None:
        return None
    zones: tuple[Zone, ...] = ()
    if limit_percent is not None:
        zones = (Zone(low=-limit_percent, high=limit_percent, words=say("counts as steady")),)
    return Chart(
        title=say("How the speed swings about {rpm:.0f} rpm", rpm=plateau_rpm),
        x_label=TIME,
        y_label=say("Departure from the mean (%)"),
        curves=(
            Curve(
                x=curve.x,
                y=_percent(curve.y, plateau_rpm),
                low=_percent(curve.low, plateau_rpm),
                high=_percent(curve.high, plateau_rpm),
            ),
        ),
        zones=zones,
        time_axis=True,
    )


def _percent(speed_rpm: Array, mean_rpm: float) -> Array:
    return 100.0 * (speed_rpm / mean_rpm - 1.0)
