"""The heating element, from the technician's meter readings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.machine.value import Machine
from spinlab.meter import HeaterReading, MeterAccuracy, Reading, heater_readings
from spinlab.phrase import say

# IEC 60335-1, clause 10: rated power of a heater may be off by +5/-10 % (value from memory); the
# wire's change from cold to hot and a tired element add to it.
HEATER_TOLERANCE = 0.15
SHORTED_RATIO = 0.5
CHECK_HEATER = (
    "with the plug pulled, the water out and the element cold: resistance of the element alone, "
    "then against earth (many megohms), its plugs and relay"
)


def heater_findings(
    readings: Sequence[Reading],
    machine: Machine | None = None,
    *,
    accuracy: MeterAccuracy | None = None,
) -> list[Finding]:
    """One finding for each reading of the element."""
    power = machine.heater_w if machine is not None else None
    volts = machine.mains_v if machine is not None else None
    measured = heater_readings(
        readings, rated_power_w=power, rated_voltage_v=volts, accuracy=accuracy
    )
    return [_element(one) for one in measured]


def _element(one: HeaterReading) -> Finding:
    subject = say("heating element ({name})", name=one.name)
    evidence: dict[str, Any] = {
        **numbers("resistance_ohm", one.resistance_ohm),
        "expected_ohm": one.expected_ohm,
        "expected_current_a": one.expected_current_a,
        "current_a": one.current_a,
    }
    if one.resistance_ohm is None:
        if one.current_a is None:
            return not_measurable(
                "supply",
                subject,
                "no current was read",
                "read V and A while it heats",
                evidence=evidence,
            )
        probability, rivals = shared(
            0.95, {"heat relay or its wires": 0.6, "the programme was not heating": 0.8}
        )
        return Finding(
            kind="supply",
            subject=subject,
            state="attention",
            probability=probability,
            evidence=evidence,
            rivals=rivals,
            next_step=CHECK_HEATER,
            reason=say(
                "{current:g} A: the element draws nothing, as if it were open",
                current=one.current_a,
            ),
        )
    if one.ratio is None:
        return not_measurable(
            "supply",
            subject,
            say(
                "{resistance:.1f} ohm, but the profile does not state heater_w and mains_v",
                resistance=one.resistance_ohm.value,
            ),
            "put the element's rating into the profile",
            evidence=evidence,
        )
    ratio = one.ratio
    evidence |= numbers("ratio_to_expected", ratio)
    off = chance_above(ratio.value, ratio.standard_uncertainty, 1.0 + HEATER_TOLERANCE)
    off += chance_above(-ratio.value, ratio.standard_uncertainty, -(1.0 - HEATER_TOLERANCE))
    shorted = ratio.value < SHORTED_RATIO
    opened = ratio.value > 20.0
    rival = "wrong rating in the profile"
    probability, rivals = shared(min(off, 1.0), {rival: 0.05 if shorted or opened else 0.4})
    state = state_of(probability)
    word = "shorted in part" if shorted else "open" if opened else "off its rating"
    return Finding(
        kind="supply",
        subject=subject,
        state=state,
        probability=probability,
        evidence=evidence,
        rivals=rivals,
        next_step=CHECK_HEATER if state != "clear" else "",
        reason=say(
            "{resistance:.1f} +- {half:.1f} ohm where {expected:.1f} is expected",
            resistance=one.resistance_ohm.value,
            half=1.96 * one.resistance_ohm.standard_uncertainty,
            expected=one.expected_ohm,
        )
        + (say(": {word}", word=word) if state != "clear" else ""),
    )
