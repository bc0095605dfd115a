"""Motor: lost phase, sensors of position and speed, arcing, a dead direction, drag."""

from __future__ import annotations

from typing import Any

from spinlab.coastdown import CoastDown
from spinlab.drive.measure import Drive
from spinlab.drive.motor import MotorOrders
from spinlab.finding import Finding
from spinlab.findings.arcing import arcing_finding
from spinlab.findings.coast import coast_findings
from spinlab.findings.direction import direction_findings
from spinlab.findings.judge import chance_above, not_measurable, shared, state_of
from spinlab.findings.tachometer import tachometer_findings
from spinlab.machine.value import Machine
from spinlab.phases.value import MotionPattern
from spinlab.phrase import join, say

# Levels of the fault families over the strongest usual order from which they count, in dB (lower
# quartile over the speeds), and how far panels and casting change such a level from unit to unit
# (1 sigma): of 98 simulated sound units (tuning seeds) the highest at twice the electrical
# frequency was 5.3 dB, the next 2.6 dB; odd multiples were heard of none of the first 15.
TWICE_DB = 6.0
ONCE_DB = -10.0
PATH_DB = 4.0
# Four times the electrical frequency is heard of no sound unit (20 seeds, 1e-4 a line); with a lost
# phase it lies at -15 dB or above, and its neighbour 3 p, which a position sensor would make as
# well, 7 to 28 dB below it (a position sensor: from 5 dB below to 11 above).
FOUR_DB = -15.0
EVEN_ALONE_DB = 7.0
# No two windings are quite equal: what 4 p alone leaves open; common practice, no published source.
UNEQUAL = 0.1

CHECK_WINDINGS = (
    "with the plug pulled and the capacitor discharged: resistance of the three windings against "
    "each other (alike within a few percent), plugs and wires for burnt contacts, then the module"
)
CHECK_SENSOR = "plug and wires of the position sensor or tacho, its magnet, then the sensor itself"
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
        found.append(arcing_finding(drive.arcing))
    found += tachometer_findings(drive.surges, machine)
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
    if motor.once_electrical_db is not None and motor.usual_heard:
        once = chance_above(motor.once_electrical_db, PATH_DB, ONCE_DB)
    four = _even_alone(motor)
    # A bad position sensor also raises 2 p; without order p it is the phase, with it the sensor.
    return [
        _family(
            motor,
            "lost phase",
            1.0 - (1.0 - twice * (1.0 - once)) * (1.0 - four),
            {
                "position sensor": (0.3 + once) * (1.0 - 0.8 * four),
                "bearing or rotor fault with that order": 0.1,
                "pull of the poles of a sound motor whose ripple is not heard": 0.0
                if motor.usual_heard
                else 0.4,
            },
            CHECK_WINDINGS,
            _phase_words(motor, pairs or 1, four),
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
                motor.speeds,
            ),
        ),
    ]


def _even_alone(motor: MotorOrders) -> float:
    """Chance that 4 p is there beside the usual orders and 3 p is not."""
    four, odd = motor.four_times_electrical_db, motor.three_over_four_db
    if four is None or odd is None or not motor.usual_heard:
        return 0.0
    heard = chance_above(four, PATH_DB, FOUR_DB)
    return (1.0 - UNEQUAL) * heard * chance_above(-odd, PATH_DB, EVEN_ALONE_DB)


def _phase_words(motor: MotorOrders, pairs: int, four: float) -> str:
    words = _level_words(
        say("twice the electrical frequency (order {order})", order=2 * pairs),
        motor.twice_electrical_db,
        motor.speeds,
    )
    if four < 0.5:
        return words
    return say(
        "{words}; order {four} is heard {above:.0f} dB above order {three}: three equal phases "
        "cancel it",
        words=words,
        four=4 * pairs,
        three=3 * pairs,
        above=-(motor.three_over_four_db or 0.0),
    )


def _why_not(motor: MotorOrders, pairs: int | None) -> str:
    if pairs is None:
        return "the profile does not say how many pole pairs the motor has"
    # Over the noise where the usual orders are not heard is over them all the more.
    if not motor.usual_heard and (motor.twice_electrical_db or 0.0) < TWICE_DB:
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


def _level_words(family: str, level_db: float | None, speeds: int) -> str:
    if level_db is None:
        return say("nothing stands out at {family}", family=family)
    if level_db < 0.0:
        return say(
            "{family} stands {below:.0f} dB below the motor's strongest usual order (lower "
            "quartile of {speeds} speeds)",
            family=family,
            below=-level_db,
            speeds=speeds,
        )
    return say(
        "{family} stands {above:.0f} dB or more above the motor's strongest usual order at three "
        "quarters of {speeds} speeds",
        family=family,
        above=level_db,
        speeds=speeds,
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
        "speeds": motor.speeds,
        "twice_electrical_db": motor.twice_electrical_db,
        "four_times_electrical_db": motor.four_times_electrical_db,
        "three_over_four_db": motor.three_over_four_db,
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
