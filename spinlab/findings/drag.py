"""Drag power against speed, from the technician's meter readings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.meter import DragFit, MeterAccuracy, Reading, fit_drag
from spinlab.meter.heater import is_heater_reading
from spinlab.phrase import join, say

# Empty drum: about 300 W at 1200 and 330 W at 1400 rpm (common practice, no published source);
# half as much again is out of the ordinary.
USUAL_POWER_W = {1200.0: 300.0, 1400.0: 330.0}
HIGH_FACTOR = 1.5


def drag_findings(
    readings: Sequence[Reading], *, accuracy: MeterAccuracy | None = None
) -> list[Finding]:
    """The drag curve, a reading off it, and power beyond an empty drum's."""
    spinning = [r for r in readings if r.speed_rpm is not None and not is_heater_reading(r)]
    if not any(r.power_w is not None for r in spinning):
        return []
    fit = fit_drag(spinning, accuracy=accuracy)
    return [*_misfit(fit), *_power(fit)]


def _misfit(fit: DragFit) -> list[Finding]:
    if fit.misfit_p is None or fit.misfit_p >= 0.01:
        return []
    named = fit.misfit or "one of the readings"
    excess = fit.misfit_excess_w
    return [
        Finding(
            kind="supply",
            subject="power reading that does not fit",
            state="attention",
            probability=1.0 - fit.misfit_p,
            evidence={
                **numbers("excess_w", excess),
                "misfit_p": fit.misfit_p,
                "reading": fit.misfit or None,
                **_curve(fit),
            },
            next_step="read that speed again; if it stays, listen for a rub or a slipping belt",
            reason=say("{named} lies off P = a + b n + c n^3", named=named)
            + (say(" by {value:+.0f} W", value=excess.value) if excess is not None else "")
            + (say(": {reason}", reason=fit.reason) if fit.reason else ""),
        )
    ]


def _curve(fit: DragFit) -> dict[str, Any]:
    residual = [] if fit.residual_w is None else fit.residual_w.tolist()
    return {
        **numbers("constant_w", fit.constant_w),
        **numbers("friction_w_per_rpm", fit.friction_w_per_rpm),
        **numbers("windage_w_per_rpm3", fit.windage_w_per_rpm3),
        "speeds_rpm": fit.speed_rpm.tolist(),
        "powers_w": fit.power_w.tolist(),
        "residuals_w": residual,
    }


def _power(fit: DragFit) -> list[Finding]:
    """Held against what an empty drum usually takes, where a reading is near those speeds."""
    chances, words = [], []
    pairs = zip(fit.speed_rpm, fit.power_w, fit.standard_uncertainty_w, strict=True)
    for speed, power, u in pairs:
        near = min(USUAL_POWER_W, key=lambda n: abs(n - speed))
        if abs(near - speed) <= 50.0:
            chances.append(chance_above(power, u, HIGH_FACTOR * USUAL_POWER_W[near]))
            words.append(
                say(
                    "{power:.0f} W at {speed:.0f} rpm (usual: {usual_power:.0f})",
                    power=power,
                    speed=speed,
                    usual_power=USUAL_POWER_W[near],
                )
            )
    subject = "drag power"
    if not chances:
        return [
            not_measurable(
                "motor",
                subject,
                fit.reason or "no reading near 1200 or 1400 rpm, where the usual power is known",
                "read the power at 1200 and 1400 rpm with the drum empty",
                evidence=_curve(fit),
            )
        ]
    sign = max(chances)
    probability, rivals = shared(
        sign,
        {
            "tight drum bearing or seal": 0.5,
            "water or a load in the drum": 0.5,
            "belt too tight": 0.2,
            "meter that counts pump and electronics": 0.2,
        },
    )
    state = state_of(sign)
    return [
        Finding(
            kind="motor",
            subject=subject,
            state="attention" if state == "fault" else state,
            probability=probability,
            evidence=_curve(fit) | {"sign_probability": sign},
            rivals=rivals if state != "clear" else (),
            next_step="empty and drained? then turn the drum by hand, belt off, plug pulled"
            if state != "clear"
            else "",
            reason=join("; ", words) + "; usual values are common practice, no published source",
        )
    ]
