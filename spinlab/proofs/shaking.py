"""What shakes as proof: the first order per plateau, the run through the resonance, half orders."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from spinlab.finding import Finding
from spinlab.phrase import say
from spinlab.proofs.value import Array, Chart, Curve, Mark, Zone
from spinlab.result import Analysed

# Coverage factor of the whiskers: about 95 % (GUM, JCGM 100:2008, 6.3.3).
_COVERAGE_FACTOR = 2.0
PLATEAU_SPEED = say("Drum speed (rpm)")


def imbalance_chart(finding: Finding, analysis: Analysed) -> Chart | None:
    """The first order on each plateau beside its limit; from sound, the swelling per turn."""
    seen = finding.evidence
    if seen.get("plateaus"):
        return _velocity(seen)
    if seen.get("modulation_by_speed"):
        rows = seen["modulation_by_speed"]
        return Chart(
            title=say("How much the noise swells once per turn"),
            x_label=PLATEAU_SPEED,
            y_label=say("Swelling, share of the noise"),
            curves=(_points(rows, "speed_rpm", "index", "standard_uncertainty"),),
            from_zero=True,
        )
    return None


def _velocity(seen: Any) -> Chart:
    rows, limit = seen["plateaus"], seen.get("limit_velocity_mm_s_rms")
    points = _points(
        rows, "speed_rpm", "velocity_mm_s_rms", "velocity_mm_s_rms_standard_uncertainty"
    )
    top = int(np.nanargmax(points.y))
    mark = Mark(
        x=float(points.x[top]),
        y=float(points.y[top]),
        words=say("{v:.1f} mm/s at {n:.0f} rpm", v=float(points.y[top]), n=float(points.x[top])),
    )
    zones: tuple[Zone, ...] = ()
    if limit is not None:
        words = say("an empty drum is suspect above about {limit:.0f} mm/s", limit=float(limit))
        zones = (Zone(low=float(limit), high=float(limit), words=words),)
    return Chart(
        title=say("Shaking once per drum turn on each plateau (first order)"),
        x_label=PLATEAU_SPEED,
        y_label=say("Velocity at the phone (mm/s RMS)"),
        curves=(points,),
        marks=(mark,),
        zones=zones,
        from_zero=True,
    )


def _points(rows: Sequence[Any], x: str, y: str, u: str) -> Curve:
    values = _column(rows, y)
    half = _COVERAGE_FACTOR * np.nan_to_num(_column(rows, u))
    return Curve(
        x=_column(rows, x), y=values, low=values - half, high=values + half, style="points"
    )


def _column(rows: Sequence[Any], name: str) -> Array:
    return np.array([np.nan if row.get(name) is None else float(row[name]) for row in rows])


def passage_chart(_finding: Finding, analysis: Analysed) -> Chart | None:
    """Size of the shaking as the drum runs through the tub's resonance."""
    vibration = getattr(analysis, "vibration", None)
    runs = [p for p in vibration.passages if len(p.rate_hz)] if vibration is not None else []
    fitted = [p for p in runs if p.frequency_hz is not None] or runs
    if not fitted:
        return None
    best = max(fitted, key=lambda p: float(np.max(p.size_m_s2)))
    half = _COVERAGE_FACTOR * best.standard_uncertainty
    order = np.argsort(best.rate_hz)
    marks: tuple[Mark, ...] = ()
    if best.frequency_hz is not None and best.damping_ratio is not None:
        rate = float(best.frequency_hz.value)
        height = float(np.interp(rate, best.rate_hz[order], best.size_m_s2[order]))
        words = say(
            "resonance {rate:.1f} Hz, damping ratio {damping:.3f}",
            rate=rate,
            damping=float(best.damping_ratio.value),
        )
        marks = (Mark(x=rate, y=height, words=words),)
    return Chart(
        title=say("Shaking while the drum runs through the tub's resonance"),
        x_label=say("Drum turns per second (Hz)"),
        y_label=say("First order (m/s² peak)"),
        curves=(
            Curve(
                x=best.rate_hz[order],
                y=best.size_m_s2[order],
                low=np.maximum(best.size_m_s2 - half, 0)[order],
                high=(best.size_m_s2 + half)[order],
            ),
        ),
        marks=marks,
        from_zero=True,
    )


def pattern_chart(finding: Finding, _analysis: Analysed) -> Chart | None:
    """Levels of whole and half orders; the half ones are the sign of something loose."""
    rows = finding.evidence.get("orders")
    if not rows:
        return None
    whole = [row for row in rows if float(row["order"]).is_integer()]
    half = [row for row in rows if not float(row["order"]).is_integer()]
    curves = []
    for part, name in ((whole, say("whole orders")), (half, say("half orders"))):
        if part:
            x, y = _column(part, "order"), _column(part, "level")
            spread = _COVERAGE_FACTOR * np.nan_to_num(_column(part, "standard_uncertainty"))
            curves.append(
                Curve(
                    x=x,
                    y=y,
                    low=np.maximum(y - spread, 0),
                    high=y + spread,
                    style="bars",
                    name=name,
                )
            )
    unit = finding.evidence.get("level_unit", "")
    heard = [row for row in half if row["p_value"] < 1e-3]
    return Chart(
        title=say("Whole orders belong to any drum; half orders point to something loose"),
        x_label=say("Times per drum turn (order)"),
        y_label=say("Level (m/s² peak)") if "m/s2" in unit else say("Level, of the largest"),
        curves=tuple(curves),
        marks=tuple(
            Mark(x=float(r["order"]), y=float(r["level"]), words=say("order {n:g}", n=r["order"]))
            for r in heard
        ),
        from_zero=True,
    )
