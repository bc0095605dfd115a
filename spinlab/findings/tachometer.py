"""The motor's speed sensor: a controller that cannot see the speed lets the drum run away."""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.drive.surges import Surge, Surges
from spinlab.finding import Finding
from spinlab.findings.judge import shared, state_of
from spinlab.machine.value import Machine
from spinlab.phrase import Phrase, join, many, say

# Common practice, no published source, checked on simulated units only.
RUNAWAY = 1.4  # times the slope of the usual ramps
ALIKE_SHARE = 0.05  # peaks this near to each other are cut off at one speed
DEAD_START_S = 2.5  # from standstill to the cut of a sensor that never gives a pulse
PAST_SHARE = 0.03  # over the profile's tolerance, by which a stage was passed and not held
SLOWEST_REPEATED_RPM = 450.0  # below, an imbalance check may cut off at one speed again and again
SUBJECT = "speed sensor of the motor"
CHECK = (
    "do not let it spin unwatched: without its sensor the drum can run away. With the plug pulled: "
    "plug and wires of the tachometer, its magnet on the motor's shaft, its coil's resistance "
    "against the service papers; then the module and its triac"
)


def tachometer_findings(measured: Surges, machine: Machine | None) -> tuple[Finding, ...]:
    """What cut-off surges say of a brushed motor's tachometer; nothing where there are none."""
    if machine is None or machine.motor.kind != "brushed" or not measured.surges:
        return ()
    surges, usual = measured.surges, measured.usual_rise_rpm_per_s
    runaway = usual is not None and _steepest(surges) > RUNAWAY * usual
    past = _passed(surges, machine)
    alike = _alike(surges)
    dead = usual is None and all(s.rise_s <= DEAD_START_S for s in surges)
    sign, imbalance, overload = _weights(
        runaway=runaway, past=past is not None, dead=dead, count=alike, surges=surges
    )
    if sign == 0.0:
        return ()
    probability, rivals = shared(
        sign,
        {
            "triac or module that drives the motor unasked": 0.35,
            "ramp given up for imbalance": imbalance,
            "motor cut off for overload or low voltage": overload,
        },
    )
    return (
        Finding(
            kind="motor",
            subject=SUBJECT,
            state=state_of(probability),
            probability=probability,
            evidence={
                "surges": [
                    {
                        "time_s": s.time_s,
                        "peak_rpm": s.peak_rpm,
                        "rise_rpm_per_s": s.rise_rpm_per_s,
                        "rise_s": s.rise_s,
                    }
                    for s in surges
                ],
                "usual_rise_rpm_per_s": usual,
                "passed_rpm": past,
                "cut_off_at_one_speed": alike,
            },
            rivals=rivals,
            next_step=CHECK,
            reason=_words(surges, usual if runaway else None, past, dead=dead),
        ),
    )


def _weights(
    *, runaway: bool, past: bool, dead: bool, count: int, surges: Sequence[Surge]
) -> tuple[float, float, float]:
    """The sign's probability, and the weights of imbalance and overload as rivals."""
    again = count >= 2
    if runaway or past:
        return (0.95 if again or (runaway and past) else 0.85), 0.1, 0.1
    if dead:
        return (0.85 if again else 0.5), 0.3, 0.3
    if again and min(s.peak_rpm for s in surges) >= SLOWEST_REPEATED_RPM:
        return 0.7, 0.3, 0.3
    return 0.0, 0.0, 0.0


def _steepest(surges: Sequence[Surge]) -> float:
    return max(surge.rise_rpm_per_s for surge in surges)


def _alike(surges: Sequence[Surge]) -> int:
    """How many surges were cut off at one speed."""
    return max(
        sum(abs(other.peak_rpm / one.peak_rpm - 1.0) < ALIKE_SHARE for other in surges)
        for one in surges
    )


def _passed(surges: Sequence[Surge], machine: Machine) -> float | None:
    """The highest asked speed that a rise ran through: below it three seconds before its end."""
    passed = [
        plateau.rpm
        for surge in surges
        for plateau in machine.programme
        if surge.low_rpm < plateau.rpm - plateau.allowed_departure_rpm
        and surge.peak_rpm > (1.0 + PAST_SHARE) * (plateau.rpm + plateau.allowed_departure_rpm)
    ]
    return max(passed, default=None)


def _words(
    surges: Sequence[Surge], usual: float | None, past: float | None, *, dead: bool
) -> Phrase:
    first = max(surges, key=lambda surge: surge.rise_rpm_per_s)
    said = [
        many(
            "the drum was driven up to {peak:.0f} rpm and let go at once",
            "{count} times the drum was driven up, to {peak:.0f} rpm at the steepest, and let go "
            "at once",
            count=len(surges),
            peak=first.peak_rpm,
        )
    ]
    if usual is not None:
        said.append(
            say(
                "its last rise, {rise:.0f} rpm/s, is {times:.1f} times that of the other ramps",
                rise=first.rise_rpm_per_s,
                times=first.rise_rpm_per_s / usual,
            )
        )
    if past is not None:
        said.append(say("it ran through the {past:g} rpm that it was to hold", past=past))
    if dead:
        said.append(
            say("it had stood {rise:.1f} s before, and never held a speed", rise=first.rise_s)
        )
    return join("; ", said)
