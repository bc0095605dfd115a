"""Suspension: resonance and damping as the drum runs through it; a worn damper's sign."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.phrase import say
from spinlab.speed.track import Estimate
from spinlab.stages import StageTable
from spinlab.vibration.measure import Vibration
from spinlab.vibration.resonance import MODEL_SHARE

# Damping ratio below which a damper is called worn; common practice, no published source.
WORN_BELOW = 0.06
# What a measured ratio is held against: a worn damper may have any ratio from the least that can be
# told up to that limit, a sound one is near this, times or over this factor (1 sigma); common
# practice, no published source.
LEAST_DAMPING = 0.01
SOUND_DAMPING = 0.13
SOUND_FACTOR = 1.45
SUBJECT = "dampers and springs of the tub"
CHECK = (
    "with the plug pulled: push the tub down and let go, it should come to rest within one or two "
    "swings; look for oil on the dampers, loose damper pins, an unhooked spring"
)
BETTER = (
    "an accelerometer log (100 samples per second or more, phone taped to the lid) that contains "
    "the run-up from rest through 120-400 rpm"
)


def findings(vibration: Vibration, stages: StageTable | None = None) -> tuple[Finding, ...]:
    """What can be said of the suspension."""
    if vibration.kind == "sound":
        reason = "a microphone does not hear 2-6 Hz, where the tub's resonance lies"
        return (not_measurable("suspension", SUBJECT, reason, BETTER),)
    if vibration.reason:
        return (not_measurable("suspension", SUBJECT, vibration.reason, BETTER),)
    fitted = [p for p in vibration.passages if p.damping_ratio is not None]
    decays = [d for d in vibration.decays if d.damping_ratio is not None]
    if not fitted and not decays:
        why = next((p.reason for p in vibration.passages if p.reason), "")
        return (
            not_measurable(
                "suspension",
                SUBJECT,
                why or "the drum's speed is not known from below 120 to above 300 rpm",
                BETTER,
            ),
        )
    damping = _combined(
        [p.damping_ratio for p in fitted if p.damping_ratio is not None]
        + [d.damping_ratio for d in decays if d.damping_ratio is not None]
    )
    near = _given_up_near(vibration, stages)
    worn = _chance_worn(damping)
    if near:
        worn = 1.0 - (1.0 - worn) * 0.6
    probability, rivals = shared(
        worn,
        {
            "spring unhooked or of the wrong kind": 0.12,
            "little load on friction dampers, which hold less at small swings": 0.08,
        },
    )
    state = state_of(probability)
    frequency = next((p.frequency_hz for p in fitted if p.frequency_hz is not None), None)
    frequency = frequency or next((d.frequency_hz for d in decays if d.frequency_hz), None)
    return (
        Finding(
            kind="suspension",
            subject=SUBJECT,
            state=state,
            probability=probability,
            evidence=_evidence(vibration, damping, frequency) | {"given_up_near_rpm": near},
            rivals=rivals,
            next_step=CHECK if state != "clear" else "",
            reason=say(
                "damping ratio {value:.3f} +- {half:.3f} ",
                value=damping.value,
                half=1.96 * damping.standard_uncertainty,
            )
            + (say("at {value:.1f} Hz", value=frequency.value) if frequency else "")
            + say("; below about {worn_below:g} a damper counts as worn", worn_below=WORN_BELOW)
            + (
                say("; a ramp was given up at {near:.0f} rpm, near the resonance", near=near[0])
                if near
                else ""
            ),
        ),
    )


def _chance_worn(damping: Estimate) -> float:
    """Probability of a worn damper by Bayes' rule, worn and sound held equally likely before.

    A ratio that is hardly known then leaves the chance near one half times what rivals leave,
    whereas asking how much of its interval lies below the limit would count every ratio near zero.
    """
    low, high = math.log(LEAST_DAMPING), math.log(WORN_BELOW)
    x = max(math.log(damping.value), low)
    u = damping.standard_uncertainty / damping.value
    worn = (chance_above(x, u, low) - chance_above(x, u, high)) / (high - low)
    apart = math.hypot(u, math.log(SOUND_FACTOR))
    away = (x - math.log(SOUND_DAMPING)) / apart
    sound = math.exp(-0.5 * away**2) / (apart * math.sqrt(2.0 * math.pi))
    return worn / (worn + sound)


def _combined(values: list[Estimate]) -> Estimate:
    """Weighted mean on a logarithmic scale; what the model leaves out bounds it from below."""
    logs = np.log([max(e.value, 1e-3) for e in values])
    u = np.array([e.standard_uncertainty / max(e.value, 1e-3) for e in values])
    weight = 1.0 / np.maximum(u, MODEL_SHARE) ** 2
    mean = float(np.sum(weight * logs) / weight.sum())
    spread = float(1.0 / np.sqrt(weight.sum()))
    if len(values) > 1:
        spread = max(spread, float(np.std(logs) / np.sqrt(len(values))))
    spread = max(spread, MODEL_SHARE)
    value = float(np.exp(mean))
    return Estimate(value=value, standard_uncertainty=value * spread)


def _given_up_near(vibration: Vibration, stages: StageTable | None) -> list[float]:
    """Speeds of ramps given up within a third of a resonance found."""
    if stages is None:
        return []
    found = [60.0 * p.frequency_hz.value for p in vibration.passages if p.frequency_hz is not None]
    return [
        retry.speed_rpm
        for retry in stages.retries
        if any(abs(retry.speed_rpm - n) < 0.33 * n for n in found)
    ]


def _evidence(
    vibration: Vibration, damping: Estimate, frequency: Estimate | None
) -> dict[str, Any]:
    return {
        **numbers("damping_ratio", damping),
        **numbers("resonance_hz", frequency),
        "worn_below": WORN_BELOW,
        "passages": [
            {
                "direction": p.direction,
                "axis": p.axis,
                "start_s": p.start_s,
                **numbers("resonance_hz", p.frequency_hz),
                **numbers("damping_ratio", p.damping_ratio),
                **numbers("half_power_damping", p.half_power_damping),
                "sweep_over_half_power_limit": p.sweep_share,
                "reason": p.reason,
            }
            for p in vibration.passages
        ],
        "decays": [
            {
                "start_s": d.start_s,
                "cycles": d.cycles,
                **numbers("decay_hz", d.frequency_hz),
                **numbers("damping_ratio", d.damping_ratio),
                **numbers("logarithmic_decrement", d.decrement),
                "decrement_growth": d.growth,
                "reason": d.reason,
            }
            for d in vibration.decays
        ],
    }
