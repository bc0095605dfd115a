"""Coast-down: drag, a brake, and friction that grows."""

from __future__ import annotations

from typing import Any

from spinlab.coastdown import CoastDown
from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, numbers, shared
from spinlab.phrase import say
from spinlab.speed.track import Estimate

# A coast-down quicker than this without a brake named in the profile; common practice.
BRAKED_RPM_PER_S = 80.0


def coast_findings(coasts: tuple[CoastDown, ...]) -> list[Finding]:
    """The quickest coast-down, and whether the drag grew from the first to the last."""
    subject = "drag while coasting"
    fitted = [c for c in coasts if c.deceleration_rpm_per_s is not None]
    if not fitted:
        return []
    worst = max(fitted, key=lambda c: c.deceleration_rpm_per_s.value)  # type: ignore[union-attr]
    rate = worst.deceleration_rpm_per_s
    assert rate is not None
    evidence: dict[str, Any] = {
        **numbers("deceleration_rpm_per_s", rate),
        "at_rpm": worst.reference_rpm,
        **numbers("dry_friction_share", worst.dry_share),
        **numbers("drag_torque_nm", worst.torque_nm),
        "coast_downs": len(fitted),
    }
    rising = _rising(fitted)
    if rising is not None:
        evidence |= numbers("change_percent_between_first_and_last", rising)
    quick = chance_above(rate.value, rate.standard_uncertainty, BRAKED_RPM_PER_S)
    probability, rivals = shared(
        quick,
        {"the motor brakes on purpose": 2.0, "drum bearing tight": 0.3, "water in the tub": 0.3},
    )
    attention = rising is not None and rising.value - 1.96 * rising.standard_uncertainty > 10.0
    torque = worst.torque_nm
    words = say(
        "the drum loses {value:.1f} +- {half:.1f} rpm/s at {reference:.0f} rpm",
        value=rate.value,
        half=1.96 * rate.standard_uncertainty,
        reference=worst.reference_rpm,
    )
    if torque is not None:
        words += say(
            ", a drag of {value:.2f} +- {half:.2f} N m",
            value=torque.value,
            half=1.96 * torque.standard_uncertainty,
        )
    else:
        words += "; the drum's inertia in the profile would make that a torque"
    return [
        Finding(
            kind="motor",
            subject=subject,
            state="attention" if attention else "clear",
            probability=0.5 if attention else probability,
            evidence=evidence,
            rivals=rivals,
            next_step="compare with a good unit; turn the drum by hand with the plug pulled"
            if attention
            else "",
            reason=words,
        )
    ]


def _rising(fitted: list[CoastDown]) -> Estimate | None:
    """Change in percent of the deceleration from the first to the last coast-down alike."""
    if len(fitted) < 2:
        return None
    first, last = fitted[0], fitted[-1]
    a, b = first.deceleration_rpm_per_s, last.deceleration_rpm_per_s
    if a is None or b is None or first.reference_rpm is None or last.reference_rpm is None:
        return None
    if abs(first.reference_rpm - last.reference_rpm) > 0.15 * first.reference_rpm:
        return None
    share = (
        (a.standard_uncertainty / a.value) ** 2 + (b.standard_uncertainty / b.value) ** 2
    ) ** 0.5
    return Estimate(
        value=100.0 * (b.value / a.value - 1.0),
        standard_uncertainty=100.0 * share * b.value / a.value,
    )
