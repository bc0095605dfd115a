"""Imbalance: is the drum's first order more than an empty drum should have?

An empty drum should be nearly silent at its first order.  How much of the tub's motion reaches a
sensor on the case differs from machine to machine by a factor of about two, so the limit is soft
and the probability says so.  From sound nothing absolute can be said.
"""

from __future__ import annotations

from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above_log, not_measurable, numbers, shared, state_of
from spinlab.phrase import say
from spinlab.quality.value import Quality
from spinlab.reference import OUT_OF_SCOPE, zone
from spinlab.vibration.measure import Vibration
from spinlab.vibration.plateaus import PlateauLevel

# Case velocity of the first order from which an empty drum is called unbalanced; common practice,
# no published source, checked on simulated units only.
LIMIT_MM_S_RMS = 28.0
TRANSFER_FACTOR = 1.5
LEAST_SPEED_RPM = 500.0
KNOCK_P = 1e-4
# Gain that swings more than this makes loudness against speed worthless.
GAIN_SWING_DB = 3.0

CHECK = (
    "with the plug pulled: transport bolts taken out, drum really empty and water drained, ballast "
    "tight, dampers and springs hooked in, no crack in the spider arm (turn the drum and watch its "
    "rim), all four feet firm and level"
)
BETTER = (
    "an accelerometer log with the phone taped flat to the lid, 100 samples per second or more, "
    "would give mm/s; a sound recording cannot"
)
SUBJECT = "imbalance of the drum"


def findings(vibration: Vibration, quality: Quality | None = None) -> tuple[Finding, ...]:
    """What can be said of the drum's imbalance."""
    if vibration.reason:
        return (not_measurable("imbalance", SUBJECT, vibration.reason, BETTER),)
    if vibration.kind == "sound":
        return (_from_sound(vibration, quality),)
    usable = [
        level
        for level in vibration.levels
        if level.order == 1.0 and level.total is not None and level.span.speed_rpm > LEAST_SPEED_RPM
    ]
    if not usable:
        why = next((level.reason for level in vibration.levels if level.reason), "")
        return (
            not_measurable(
                "imbalance",
                SUBJECT,
                why or "the log has no plateau above 500 rpm with a known drum speed",
                "record the whole spin test with 100 samples per second or more",
            ),
        )
    return (_from_log(vibration, usable),)


def _from_log(vibration: Vibration, usable: list[PlateauLevel]) -> Finding:
    chances = [
        chance_above_log(
            level.total.velocity_mm_s_rms,  # type: ignore[union-attr]
            LIMIT_MM_S_RMS,
            factor=TRANSFER_FACTOR,
        )
        for level in usable
    ]
    worst = max(usable, key=lambda level: level.total.velocity_mm_s_rms.value)  # type: ignore[union-attr]
    # The median plateau decides: one plateau may sit on a resonance of the case.
    sign = sorted(chances)[len(chances) // 2]
    probability, rivals = shared(sign, _rivals(vibration))
    assert worst.total is not None
    velocity = worst.total.velocity_mm_s_rms
    state = state_of(probability)
    return Finding(
        kind="imbalance",
        subject=SUBJECT,
        state=state,
        probability=probability,
        evidence=_evidence(vibration, usable, worst),
        rivals=rivals,
        next_step=CHECK if state != "clear" else "",
        reason=(
            say(
                "the first order reaches {value:.1f} +- {half:.1f} mm/s RMS at "
                "{speed:.0f} rpm at the sensor's place; above about {limit:.0f} an "
                "empty drum is suspect",
                value=velocity.value,
                half=1.96 * velocity.standard_uncertainty,
                speed=worst.span.speed_rpm,
                limit=LIMIT_MM_S_RMS,
            )
        ),
    )


def _rivals(vibration: Vibration) -> dict[str, float]:
    """Other causes of a strong first order, weighted by what else was seen."""
    rivals = {"water or a load left in the drum": 0.10, "feet not level or a soft floor": 0.08}
    damped = [p.damping_ratio.value for p in vibration.passages if p.damping_ratio is not None]
    if damped and min(damped) < 0.06:
        rivals["worn damper"] = 0.5
    if vibration.law is not None and vibration.law.bumps:
        rivals["resonance of the case at a plateau's speed"] = 0.1
    pattern = vibration.pattern
    if pattern is not None and (pattern.half_order_share or 0.0) > 0.05:
        rivals["a loose part (half orders are there)"] = 0.3
    return rivals


def _evidence(
    vibration: Vibration, usable: list[PlateauLevel], worst: PlateauLevel
) -> dict[str, Any]:
    assert worst.total is not None
    speed = worst.total.velocity_mm_s_rms
    found: dict[str, Any] = {
        "speed_rpm": worst.span.speed_rpm,
        **numbers("acceleration_m_s2_peak", worst.total.acceleration_m_s2_peak),
        **numbers("velocity_mm_s_rms", speed),
        **numbers("displacement_um_peak", worst.total.displacement_um_peak),
        "limit_velocity_mm_s_rms": LIMIT_MM_S_RMS,
        "plateaus": [
            {
                "speed_rpm": level.span.speed_rpm,
                **numbers("velocity_mm_s_rms", level.total.velocity_mm_s_rms),
                **numbers("displacement_um_peak", level.total.displacement_um_peak),
            }
            for level in usable
            if level.total is not None
        ],
    }
    if worst.orbit is not None:
        found["orbit_roundness"] = worst.orbit.roundness
    if speed.value > 0.0 and worst.span.speed_rpm >= 600.0:
        found["iso_10816_class_i_zone"] = zone(speed.value, "I").letter
        found["iso_10816_scope"] = OUT_OF_SCOPE
    law = vibration.law
    if law is not None and law.exponent is not None:
        found |= numbers("growth_exponent", law.exponent)
        found["growth_is_quadratic"] = law.quadratic
        found["case_resonances_hz"] = [bump.frequency_hz for bump in law.bumps]
    return found


def _from_sound(vibration: Vibration, quality: Quality | None) -> Finding:
    """Knocks once per turn are worth attention; modulation depth is shown, not judged."""
    measured = vibration.modulation
    if measured is None or measured.reason:
        reason = "" if measured is None else measured.reason
        return not_measurable("imbalance", SUBJECT, reason or "no sound was measured", BETTER)
    swing = quality.gain_swing_db if quality is not None else None
    gain = swing is not None and swing > GAIN_SWING_DB
    evidence: dict[str, Any] = {
        **numbers("modulation_index", measured.overall),
        "modulation_band_hz": list(measured.band_hz) if measured.band_hz else None,
        "modulation_by_speed": [
            {"speed_rpm": float(n), "index": float(m), "standard_uncertainty": float(u)}
            for n, m, u in zip(
                measured.speed_rpm, measured.index, measured.standard_uncertainty, strict=True
            )
        ],
        "knock_ratio": measured.knock_ratio,
        "knock_p": measured.knock_p,
        "automatic_gain_suspected": gain,
    }
    knocks = measured.knock_p is not None and measured.knock_p < KNOCK_P
    if knocks and measured.knock_ratio is not None and measured.knock_ratio > 1.3:
        probability, rivals = shared(
            0.85,
            {
                "a loose part or counterweight": 0.8,
                "tub touching the case": 0.3,
                "an object in the drum": 0.3,
            },
        )
        return Finding(
            kind="imbalance",
            subject="knocking once per turn",
            state="attention",
            probability=probability,
            evidence=evidence,
            rivals=rivals,
            next_step=CHECK,
            reason=say(
                "the noise is hit once per turn at {knock_speed:.0f} rpm "
                "({knock_ratio:.1f} times as much as beside the turn's harmonics)",
                knock_speed=measured.knock_speed_rpm,
                knock_ratio=measured.knock_ratio,
            ),
        )
    left = "; automatic gain is suspected, so even its growth with speed is unknown" if gain else ""
    return not_measurable(
        "imbalance",
        SUBJECT,
        "sound gives only how strongly the noise swells once per turn, never mm/s or grams" + left,
        BETTER,
        evidence=evidence,
    )
