"""Looseness: many orders, half orders, and a sensor or machine that moves."""

from __future__ import annotations

from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import not_measurable, shared, state_of
from spinlab.phrase import join, say
from spinlab.vibration.measure import Vibration
from spinlab.vibration.pattern import HALF_ORDERS, OrderPattern

# Root sum square of the half orders over the whole ones from which they count as a sign, and
# of orders 3 and up over the first; common practice, no published source.
HALF_SHARE = 0.08
MANY_SHARE = 0.6
TILT_LIMIT_DEG = 1.0
SUBJECT = "loose part or mount"
CHECK = (
    "with the plug pulled: ballast weights, damper and spring mounts, pulley and motor bolts by "
    "hand; drum spider; objects between drum and tub; feet and lock nuts"
)
# Of eight simulated machines with a loose counterweight or foot none sounds at a half order
# (docs/accuracy, every severity): that a microphone hears none clears nothing.
UNHEARD = "no half order stands out of the noise, but a loose part need not make one that is heard"
TELLS_UNHEARD = (
    "an accelerometer log with the phone taped to the lid; with the plug pulled, ballast weights, "
    "mounts and feet by hand"
)


def findings(vibration: Vibration) -> tuple[Finding, ...]:
    """What can be said of looseness, and of a machine or sensor that moved."""
    found = [_pattern(vibration.pattern, vibration.kind, vibration.reason)]
    walking = _walking(vibration)
    return tuple(found) if walking is None else (*found, walking)


def _pattern(pattern: OrderPattern | None, kind: str, why: str) -> Finding:
    if pattern is None or pattern.reason or not pattern.levels:
        reason = why if pattern is None else pattern.reason
        return not_measurable(
            "looseness",
            SUBJECT,
            reason or "no order could be measured",
            "hold each plateau for five seconds or more, with the phone at rest",
        )
    halves = pattern.significant(HALF_ORDERS)
    many = pattern.many_order_share
    carried_high = many is not None and many > MANY_SHARE
    if kind == "sound" and not halves and not carried_high:
        return not_measurable("looseness", SUBJECT, UNHEARD, TELLS_UNHEARD)
    sign = 0.0
    if len(halves) >= 2 and (pattern.half_order_share or 0.0) > HALF_SHARE:
        sign = 0.8
    elif halves and (pattern.half_order_share or 0.0) > HALF_SHARE:
        sign = 0.45
    if carried_high:
        sign = 1.0 - (1.0 - sign) * 0.5
    probability, rivals = shared(
        sign,
        {
            "belt passing near a half order": 0.15,
            "knocking of a load or an object": 0.15,
            "drum lifters and seal (whole orders only)": 0.1 if not halves else 0.0,
        },
    )
    state = state_of(probability)
    evidence: dict[str, Any] = {
        "half_order_share": pattern.half_order_share,
        "many_order_share": many,
        "orders": [
            {
                "order": e.order,
                "level": e.level,
                "standard_uncertainty": e.standard_uncertainty,
                "p_value": e.p_value,
            }
            for e in pattern.levels
        ],
        "level_unit": "m/s2 peak" if kind == "acceleration" else "relative to the largest",
        "not_measurable_orders": [
            {"order": order, "reason": reason} for order, reason in pattern.forbidden
        ],
    }
    if halves:
        names = join(", ", (say("{order:g}", order=e.order) for e in halves))
        reason = say("half orders stand out of the noise: {names}", names=names)
    else:
        reason = "no half order stands out of the noise"
    if carried_high:
        reason += say("; orders 3 and up carry {many:.1f} times the first", many=many)
    return Finding(
        kind="looseness",
        subject=SUBJECT,
        state=state,
        probability=probability,
        evidence=evidence,
        rivals=rivals,
        next_step=CHECK if state != "clear" else "",
        reason=reason,
    )


def _walking(vibration: Vibration) -> Finding | None:
    """A finding only where the sensor's tilt changed: then machine or phone moved."""
    sensor = vibration.sensor
    if sensor is None or sensor.tilt_deg is None or not sensor.steps_s:
        return None
    if sensor.tilt_deg < TILT_LIMIT_DEG:
        return None
    probability, rivals = shared(
        0.9, {"the phone slid or turned on the machine": 1.5, "somebody touched the phone": 0.5}
    )
    return Finding(
        kind="looseness",
        subject="machine walking or tilting",
        state="attention",
        probability=probability,
        evidence={
            "tilt_deg": sensor.tilt_deg,
            "tilt_standard_uncertainty_deg": sensor.tilt_uncertainty_deg,
            "steps_s": list(sensor.steps_s),
        },
        rivals=rivals,
        next_step="tape the phone down and record again; watch the feet during the ramp",
        reason=say(
            "gravity turned by {tilt:.1f} degrees during the recording, so the "
            "machine or the phone moved",
            tilt=sensor.tilt_deg,
        ),
    )
