"""What a profile's drive lets one expect: the ratio, and the orders at which its motor is heard."""

from __future__ import annotations

from math import lcm
from typing import TYPE_CHECKING

from spinlab.speed.ratio import RatioPrior

if TYPE_CHECKING:
    from spinlab.machine import Machine, Motor

# A belt's creep lets the drum lag behind the ratio of the pulleys (0.5-1 %, value from memory).
BELT_CREEP = 0.012
# Multiples of the pole pairs at which a fed motor is heard: its field pulls twice per turn of the
# supply, and its torque ripples with six times that and the multiples (three-phase machines,
# handbook knowledge, value from memory).
FIELD_ORDERS = (1, 2, 6, 12, 18)


def ratio_prior(machine: Machine | None) -> RatioPrior | None:
    """What a profile's drive says about the scale; None without a profile."""
    if machine is None:
        return None
    counted = counted_orders(machine.motor)
    belt = machine.drive == "belt"
    once = {1.0, 2.0} if belt else set()
    tolerance = machine.drum_to_motor_ratio_tolerance_percent / 100.0
    return RatioPrior(
        ratio=machine.drum_to_motor_ratio,
        tolerance=tolerance + BELT_CREEP if belt else 0.0,
        motor_orders=tuple(sorted(once | counted)),
        counted=bool(counted),
        on_drum=not belt,
    )


def counted_orders(motor: Motor) -> set[float]:
    """Orders of the motor's shaft that its counts make; none where no count is known."""
    slots, pairs, bars = motor.slots, motor.pole_pairs, motor.commutator_bars
    orders = {n * k for n in (slots, bars) if n for k in (1, 2, 3)}
    if motor.kind == "brushed":
        return {float(order) for order in orders}
    if pairs:
        orders |= {pairs * k for k in FIELD_ORDERS}
    if pairs and slots:
        # cogging: the least count of steps in which magnets and teeth come round together
        orders.add(lcm(2 * pairs, slots))
    return {float(order) for order in orders}
