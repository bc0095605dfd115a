"""Belt and motor as proof: the ratio of motor to drum, the motor's orders, the coast-down."""

from __future__ import annotations

import numpy as np

from spinlab.coastdown import CoastDown
from spinlab.drive.measure import Drive
from spinlab.drive.motor import SIGNIFICANT_P
from spinlab.finding import Finding
from spinlab.phrase import join, say
from spinlab.proofs.speed import SPEED, TIME, speed_curve
from spinlab.proofs.value import Chart, Curve, Mark, Zone
from spinlab.result import Analysed

# Coverage factor of the whiskers: about 95 % (GUM, JCGM 100:2008, 6.3.3).
_COVERAGE_FACTOR = 2.0


def ratio_chart(finding: Finding, analysis: Analysed) -> Chart | None:
    """Motor turns per drum turn over the run; a slipping belt raises it for a moment."""
    measured: Drive | None = getattr(analysis, "drive", None)
    if measured is None or measured.ratio is None or "belt_order" in finding.evidence:
        return None
    points = [*measured.ratio.plateaus, *measured.ratio.ramps]
    if not points or measured.ratio.ratio is None:
        return None
    points.sort(key=lambda p: p.time_s)
    ratio = np.array([p.ratio.value for p in points])
    half = _COVERAGE_FACTOR * np.array([p.ratio.standard_uncertainty for p in points])
    mean = measured.ratio.ratio.value
    zones = [Zone(low=mean, high=mean, words=say("mean {ratio:.3f}", ratio=mean))]
    expected, tolerance = measured.expected_ratio, measured.expected_tolerance_percent
    if expected is not None and tolerance is not None:
        reach = expected * tolerance / 100.0
        zones.append(Zone(low=expected - reach, high=expected + reach, words=say("by the profile")))
    return Chart(
        title=say("Motor turns per drum turn: a belt that slips lifts single points"),
        x_label=TIME,
        y_label=say("Motor turns per drum turn"),
        curves=(
            Curve(
                x=np.array([p.time_s for p in points]),
                y=ratio,
                low=ratio - half,
                high=ratio + half,
                style="points",
            ),
        ),
        zones=tuple(zones),
        marks=tuple(
            Mark(
                x=slip.time_s,
                y=mean * (1.0 + slip.slip_percent.value / 100.0),
                words=say("slip {percent:.1f} %", percent=slip.slip_percent.value),
            )
            for slip in measured.ratio.slips
        ),
        time_axis=True,
    )


def motor_chart(finding: Finding, analysis: Analysed) -> Chart | None:
    """The motor's own orders, or the coast-down, whichever the finding rests on."""
    if "motor_orders" in finding.evidence:
        return _orders(finding)
    if "deceleration_rpm_per_s" in finding.evidence:
        return _coasting(analysis)
    return None


def _orders(finding: Finding) -> Chart | None:
    rows = finding.evidence["motor_orders"]
    if not rows:
        return None
    above = np.array([max(float(row["above_noise_db"]), 0.0) for row in rows])
    order = np.array([float(row["order"]) for row in rows])
    named = [
        Mark(x=float(x), y=float(y), words=join(", ", row["families"]))
        for x, y, row in zip(order, above, rows, strict=True)
        if row["families"] and row["p_value"] < SIGNIFICANT_P
    ]
    return Chart(
        title=say("Orders of the motor; those that stand out of the noise are named"),
        x_label=say("Times per motor turn (order)"),
        y_label=say("Above the noise (dB)"),
        curves=(Curve(x=order, y=above, style="bars"),),
        marks=tuple(named),
        from_zero=True,
    )


def _coasting(analysis: Analysed) -> Chart | None:
    coasts: tuple[CoastDown, ...] = getattr(analysis, "coast_downs", ())
    fitted = [c for c in coasts if c.deceleration_rpm_per_s is not None]
    if not fitted:
        return None
    longest = max(fitted, key=lambda c: c.from_rpm - c.to_rpm)
    curve = speed_curve(analysis.track, longest.start_s, longest.end_s)
    if curve is None or longest.deceleration_rpm_per_s is None:
        return None
    middle = longest.reference_rpm or 0.0
    at = int(np.nanargmin(np.abs(curve.y - middle)))
    loss = longest.deceleration_rpm_per_s
    words = say(
        "loses {loss:.1f} ± {half:.1f} rpm/s",
        loss=loss.value,
        half=_COVERAGE_FACTOR * loss.standard_uncertainty,
    )
    return Chart(
        title=say("The drum running out with the motor off"),
        x_label=TIME,
        y_label=SPEED,
        curves=(curve,),
        marks=(Mark(x=float(curve.x[at]), y=float(curve.y[at]), words=words),),
        time_axis=True,
        from_zero=True,
    )
