"""Supply: what the technician's meter readings say, and the tones of the mains."""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.finding import Finding
from spinlab.findings.drag import drag_findings
from spinlab.findings.heater import heater_findings
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.machine.value import Machine
from spinlab.meter import MeterAccuracy, Reading, power_factors, source_impedance
from spinlab.phrase import say

# EN 50160 keeps the supply within 10 % of its nominal voltage (value from memory).
VOLTAGE_TOLERANCE = 0.10
# IEC 60364-5-52, annex G: at most 5 % drop inside an installation for such loads (from memory).
DROP_LIMIT_PERCENT = 5.0


def findings(
    readings: Sequence[Reading],
    machine: Machine | None = None,
    *,
    accuracy: MeterAccuracy | None = None,
) -> tuple[Finding, ...]:
    """What the readings say; nothing without readings."""
    if not readings:
        return ()
    found = [
        *_power_factor(readings, accuracy),
        *_voltage(readings, machine),
        *_drop(readings, accuracy),
        *heater_findings(readings, machine, accuracy=accuracy),
        *drag_findings(readings, accuracy=accuracy),
    ]
    return tuple(found)


def _power_factor(readings: Sequence[Reading], accuracy: MeterAccuracy | None) -> list[Finding]:
    found = []
    for one in power_factors(readings, accuracy=accuracy):
        impossible = chance_above(one.factor.value, one.factor.standard_uncertainty, 1.0)
        if impossible < 0.975:
            continue
        found.append(
            Finding(
                kind="supply",
                subject=say("reading that cannot be: {name}", name=one.name),
                state="attention",
                probability=impossible,
                evidence={
                    **numbers("power_factor", one.factor),
                    "apparent_power_va": one.apparent_power_va,
                },
                next_step="read again: range, decimal point, and whether both meters see the same "
                "load",
                reason=say(
                    "a power factor of {factor:.2f} +- {half:.2f} is more than 1",
                    factor=one.factor.value,
                    half=1.96 * one.factor.standard_uncertainty,
                ),
            )
        )
    return found


def _voltage(readings: Sequence[Reading], machine: Machine | None) -> list[Finding]:
    nominal = machine.mains_v if machine is not None else None
    volts = [r for r in readings if r.voltage_v is not None]
    if nominal is None or not volts:
        return []
    worst = max(volts, key=lambda r: abs((r.voltage_v or nominal) - nominal))
    assert worst.voltage_v is not None
    away = worst.voltage_v / nominal - 1.0
    u = MeterAccuracy().standard_uncertainty(worst.voltage_v, 1.0) / nominal
    probability = chance_above(abs(away), u, VOLTAGE_TOLERANCE)
    state = state_of(probability)
    return [
        Finding(
            kind="supply",
            subject="mains voltage",
            state="attention" if state == "fault" else state,
            probability=probability,
            evidence={
                "voltage_v": worst.voltage_v,
                "nominal_v": nominal,
                "departure_percent": 100.0 * away,
            },
            next_step="have the supply checked by an electrician" if state != "clear" else "",
            reason=say(
                "{voltage:g} V at '{name}' is {away:+.1f} % from {nominal:g} V",
                voltage=worst.voltage_v,
                name=worst.name,
                away=100 * away,
                nominal=nominal,
            ),
        )
    ]


def _drop(readings: Sequence[Reading], accuracy: MeterAccuracy | None) -> list[Finding]:
    pairs = [r for r in readings if r.voltage_v is not None and r.current_a is not None]
    if len(pairs) < 2:
        return []
    source = source_impedance(readings, accuracy=accuracy)
    subject = "voltage drop under load"
    if source.drop_percent is None:
        return [
            not_measurable("supply", subject, source.reason, "read V and A at rest and heating")
        ]
    drop = source.drop_percent
    sign = chance_above(drop.value, drop.standard_uncertainty, DROP_LIMIT_PERCENT)
    probability, rivals = shared(sign, {"long or thin extension lead": 0.5})
    state = state_of(sign)
    return [
        Finding(
            kind="supply",
            subject=subject,
            state="attention" if state == "fault" else state,
            probability=probability,
            evidence={
                **numbers("source_ohm", source.ohm),
                **numbers("drop_percent", drop),
                "largest_current_a": source.largest_current_a,
                "limit_percent": DROP_LIMIT_PERCENT,
            },
            rivals=rivals,
            next_step="feel plug and socket for warmth after the test; have the circuit checked"
            if state != "clear"
            else "",
            reason=say(
                "the voltage falls by {value:.1f} +- {half:.1f} % at {largest_current:.1f} A",
                value=drop.value,
                half=1.96 * drop.standard_uncertainty,
                largest_current=source.largest_current_a,
            ),
        )
    ]
