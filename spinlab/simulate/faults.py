"""Put one fault of a given severity into a machine, by the name that the truth will give it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, get_args

from spinlab.errors import InputError
from spinlab.simulate.machine_parameters import BearingFault, BearingPart, BearingPlace
from spinlab.simulate.parameters import (
    GROSS_RELAY_NM,
    GROSS_UNBALANCE_KG,
    HEALTHY_DAMPING,
    SLACK_SHARE,
    Parameters,
)

HUNTING_LAG_S = 0.12
LEAST_DAMPING = 0.002
SOUND_FRICTION_N = 25.0


def _bearing(place: BearingPlace, part: BearingPart) -> Callable[[Parameters, float], Parameters]:
    def put(p: Parameters, severity: float) -> Parameters:
        added = BearingFault(place=place, part=part, severity=severity)
        return replace(p, bearings=(*p.bearings, added))

    return put


def _imbalance(p: Parameters, severity: float) -> Parameters:
    return replace(p, unbalance=replace(p.unbalance, mass_kg=severity * GROSS_UNBALANCE_KG))


def _suspension(p: Parameters, severity: float) -> Parameters:
    damping = max(HEALTHY_DAMPING * (1.0 - severity), LEAST_DAMPING)
    friction = SOUND_FRICTION_N * (1.0 - severity)
    return replace(p, tub=replace(p.tub, damping_ratio=damping, friction_n=friction))


def _belt_slip(p: Parameters, severity: float) -> Parameters:
    capacity = SLACK_SHARE * p.drive.torque_limit_nm * (1.0 - severity)
    slack = replace(p.belt, capacity_nm=max(capacity, 0.3), creep_at_capacity=0.03)
    return replace(p, belt=replace(slack, squeal=0.6 * severity))


def _hunting(p: Parameters, severity: float) -> Parameters:
    relay = severity * GROSS_RELAY_NM
    return replace(p, drive=replace(p.drive, relay_nm=relay, lag_s=HUNTING_LAG_S, loop_hz=0.3))


def _drive(key: str) -> Callable[[Parameters, float], Parameters]:
    def put(p: Parameters, severity: float) -> Parameters:
        changed: dict[str, Any] = {key: severity}
        return replace(p, drive=replace(p.drive, **changed))

    return put


def _loose(key: str) -> Callable[[Parameters, float], Parameters]:
    return lambda p, severity: replace(p, loose=replace(p.loose, **{key: severity}))


FAULTS: dict[str, Callable[[Parameters, float], Parameters]] = {
    f"bearing: {place}, {part}": _bearing(place, part)
    for place in get_args(BearingPlace)
    for part in get_args(BearingPart)
} | {
    "imbalance": _imbalance,
    "suspension": _suspension,
    "belt: slip": _belt_slip,
    "belt: damaged place": lambda p, s: replace(p, belt=replace(p.belt, defect=s)),
    "motor: lost phase": _drive("lost_phase"),
    "motor: position sensor": _drive("hall_error"),
    "motor: brush arcing": _drive("arcing"),
    "motor: tachometer lost": _drive("tachometer_loss"),
    "motor: hunting": _hunting,
    "looseness: counterweight": _loose("counterweight"),
    "looseness: object in the drum": _loose("coin"),
    "looseness: feet": _loose("feet"),
}
FAULT_NAMES = tuple(FAULTS)


def fits(p: Parameters, name: str) -> bool:
    """Whether a machine of this drive can have the fault at all."""
    kind = p.drive.kind
    if name in {"motor: brush arcing", "motor: tachometer lost"}:
        return kind == "brushed"
    if name in {"motor: lost phase", "motor: position sensor"}:
        return kind != "brushed"
    if name.startswith(("belt", "bearing: motor")):
        return kind != "direct"
    return True


def with_fault(p: Parameters, name: str, severity: float) -> Parameters:
    """The machine with one fault more; `severity` 0..1.

    A worn suspension is felt in an acceleration log; it is heard only where an unbalance of some
    hundred grams makes the tub strike.  Imbalance below about 0.32 and hunting below about 0.4
    stay within what a healthy machine shows, so the truth does not list them as faults.

    Raises:
        InputError: no such fault, or this drive cannot have it.
    """
    if name not in FAULTS:
        raise InputError(f"There is no fault called {name!r}; use one of: {', '.join(FAULTS)}.")
    if not fits(p, name):
        raise InputError(f"A machine with a {p.drive.kind} drive cannot have {name!r}.")
    if not 0.0 <= severity <= 1.0:
        raise InputError(f"A severity lies between 0 and 1, not at {severity:g}.")
    return FAULTS[name](p, severity)
