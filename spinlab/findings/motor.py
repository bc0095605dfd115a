"""Motor: lost phase, position sensor, arcing, a direction that never starts, drag."""

from __future__ import annotations

from typing import Any

from spinlab.coastdown import CoastDown
from spinlab.drive.arcing import Arcing
from spinlab.drive.measure import Drive
from spinlab.drive.motor import MotorOrders
from spinlab.finding import Finding
from spinlab.findings.coast import coast_findings
from spinlab.findings.direction import direction_findings
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.machine.value import Machine
from spinlab.phases.value import MotionPattern
from spinlab.phrase import join, say

# Levels of the fault families over the strongest usual order from which they count, in dB, and
# how far panels and casting change such a level from unit to unit (1 sigma): common practice, no
# published source, checked on simulated units only.
TWICE_DB = 6.0
ONCE_DB = -2.0
PATH_DB = 4.0
ARCING_INDEX = 0.05
ARCING_TAIL = 0.5

CHECK_WINDINGS = (
    "with the plug pulled and the capacitor discharged: resistance of the three windings against "
    "each other (alike within a few percent), plugs and wires for burnt contacts, then the module"
)
CHECK_SENSOR = "plug and wires of the position sensor or tacho, its magnet, then the sensor itself"
CHECK_BRUSHES = (
    "with the plug pulled: brush length and holders, commutator for burnt, raised or dirty bars"
)
BETTER = "a sound recording near the motor, and a profile with pole pairs, slots or bars"


def findings(
    drive: Drive,
    machine: Machine | None = None,
    *,
    coasts: tuple[CoastDown, ...] = (),
    motion: MotionPattern | None = None,
) -> tuple[Finding, ...]:
    """What can be said of the motor."""
    found: list[Finding] = []
    if drive.reason or drive.motor is None or drive.motor.reason:
        reason = drive.reason or (drive.motor.reason if drive.motor is not None else "")
        found.append(not_measurable("motor", "motor's own orders", reason, BETTER))
    else:
        found += _families(drive.motor, machine)
    if drive.arcing is not None:
        found.append(_arcing(drive.arcing))
    found += coast_findings(coasts)
    found += direction_findings(motion)
    return tuple(found)


def _families(motor: MotorOrders, machine: Machine | None) -> list[Finding]:
    brushed = machine is not None and machine.motor.kind == "brushed"
    if brushed:
        return [_heard(motor)]
    pairs = machine.motor.pole_pairs if machine is not None else None
    why = _why_not(motor, pairs)
    if why:
        subject = "lost phase or position sensor"
        return [not_measurable("motor", subject, why, BETTER, evidence=_lines(motor))]
    twice = once = 0.0
    if motor.twice_electrical_db is not None:
        twice = chance_above(motor.twice_electrical_db, PATH_DB, TWICE_DB)
    if motor.once_electrical_db is not None:
        once = chance_above(motor.once_electrical_db, PATH_DB, ONCE_DB)
    # A bad position sensor also raises 2 p; without order p it is the phase, with it the sensor.
    return [
        _family(
            motor,
            "lost phase",
            twice * (1.0 - once),
            {"position sensor": 0.3 + once, "bearing or rotor fault with that order": 0.1},
            CHECK_WINDINGS,
            _level_words(
                say("twice the electrical frequency (order {order})", order=2 * (pairs or 1)),
                motor.twice_electrical_db,
            ),
        ),
        _family(
            motor,
            "position sensor",
            once,
            {"lost or weak phase": 0.25, "one winding or magnet unlike the others": 0.2},
            CHECK_SENSOR,
            _level_words(
                say("the electrical frequency's odd multiples (order {order})", order=pairs or 1),
                motor.once_electrical_db,
            ),
        ),
    ]


def _why_not(motor: MotorOrders, pairs: int | None) -> str:
    if pairs is None:
        return "the profile does not say how many pole pairs the motor has"
    if not motor.usual_heard:
        return (
            "none of the orders that a sound motor has (torque ripple, slots) stands out of the "
            "noise, so there is nothing to hold the others against"
        )
    by_order = {line.order: line for line in motor.lines}
    if 2 * pairs in by_order and "slot passing" in by_order[2 * pairs].names:
        return (
            "this motor has as many slots as poles, so slot passing hides twice the electrical "
            "frequency"
        )
    return ""


def _level_words(family: str, level_db: float | None) -> str:
    if level_db is None:
        return say("nothing stands out at {family}", family=family)
    if level_db < 0.0:
        return say(
            "{family} stands {below:.0f} dB below the motor's strongest usual order",
            family=family,
            below=-level_db,
        )
    return say(
        "{family} stands {above:.0f} dB above the motor's strongest usual order",
        family=family,
        above=level_db,
    )


def _family(
    motor: MotorOrders,
    subject: str,
    sign: float,
    weights: dict[str, float],
    check: str,
    reason: str,
) -> Finding:
    probability, rivals = shared(sign, weights)
    state = state_of(probability)
    # A level in dB against other levels, through one unit's panels, never proves a fault.
    state = "attention" if state == "fault" and sign < 0.95 else state
    return Finding(
        kind="motor",
        subject=subject,
        state=state,
        probability=probability,
        evidence=_lines(motor),
        rivals=rivals,
        next_step=check if state != "clear" else "",
        reason=reason,
    )


def _heard(motor: MotorOrders) -> Finding:
    """For a brushed motor the families are shown; arcing is judged apart."""
    heard = [line for line in motor.lines if line.heard]
    names = join(
        "; ",
        (
            say("order {order} ({names})", order=line.order, names=join(", ", line.names))
            for line in heard[:4]
        ),
    )
    return Finding(
        kind="motor",
        subject="commutator and shaft orders",
        state="clear",
        probability=0.05,
        evidence=_lines(motor),
        reason=say("heard: {names}; a healthy commutator motor has these", names=names)
        if names
        else say("no order of the motor stands out of the noise"),
    )


def _lines(motor: MotorOrders) -> dict[str, Any]:
    return {
        "twice_electrical_db": motor.twice_electrical_db,
        "once_electrical_db": motor.once_electrical_db,
        "motor_orders": [
            {
                "order": line.order,
                "families": list(line.names),
                "level_db": line.level_db,
                "above_noise_db": line.above_noise_db,
                "p_value": line.p_value,
            }
            for line in motor.lines
            if line.heard or line.names
        ],
    }


def _arcing(measured: Arcing) -> Finding:
    subject = "brush arcing"
    if measured.mains_index is None or measured.tail is None:
        return not_measurable(
            "motor",
            subject,
            measured.reason,
            "record at 44.1 or 48 kHz, without low-bit-rate coding, near the motor",
        )
    index = measured.mains_index
    sign = chance_above(index.value, max(index.standard_uncertainty, 0.01), ARCING_INDEX)
    if measured.tail < ARCING_TAIL:
        sign *= 0.4
    if measured.bar_index is not None and measured.bar_index.value > 3.0 * (
        measured.bar_index.standard_uncertainty
    ):
        sign = 1.0 - (1.0 - sign) * 0.8
    probability, rivals = shared(
        sign,
        {
            "motor's ordinary pull at twice the mains": 0.35,
            "a lamp or charger that buzzes with the mains": 0.15,
        },
    )
    state = state_of(probability)
    return Finding(
        kind="motor",
        subject=subject,
        state="attention" if state == "fault" else state,
        probability=probability,
        evidence={
            **numbers("twice_mains_index", index),
            **numbers("commutator_bar_index", measured.bar_index),
            "tail_excess_kurtosis": measured.tail,
            "band_hz": list(measured.band_hz) if measured.band_hz else None,
        },
        rivals=rivals,
        next_step=CHECK_BRUSHES if state != "clear" else "",
        reason=say(
            "above 4 kHz the noise swells by {value:.0f} % at twice the mains, with {tail} in it",
            value=100 * index.value,
            tail="crackle" if measured.tail >= ARCING_TAIL else "little crackle",
        ),
    )
