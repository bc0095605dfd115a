"""The bearings and the other causes of lines that a machine profile knows, in their places."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spinlab.bearings.catalogue import variants
from spinlab.bearings.evidence import Competitor
from spinlab.bearings.geometry import DRUM_SHAFT, BearingGeometry, MountedBearing
from spinlab.machine import Bearing, Machine
from spinlab.phrase import say
from spinlab.speed.track import Estimate, SpeedTrack

# A motor bearing is looked for only where its shaft's order is known this well (relative
# standard uncertainty): beyond it every fault range would hold another fault's lines.
LEAST_RATIO_KNOWLEDGE = 0.02
# Belt creep is 0.5-1 % (value from memory); the pulley's effective radius is no better known.
BELT_UNCERTAINTY = 0.01


@dataclass(frozen=True, kw_only=True)
class Mounted:
    """What can be looked for in one machine.

    Attributes:
        bearings: every bearing whose shaft's speed is known, one per catalogue row.
        competitors: other causes of lines beyond the drum's and the motor's turning.
        remarks: bearings that cannot be looked for, and why.
        belt_known: the belt's turning is among the competitors, or there is no belt.
    """

    bearings: tuple[MountedBearing, ...]
    competitors: tuple[Competitor, ...]
    remarks: tuple[str, ...] = ()
    belt_known: bool = False


def mounted(machine: Machine, track: SpeedTrack) -> Mounted:
    """The bearings of a machine profile on their shafts.

    Args:
        machine: the profile.
        track: for the motor's ratio where it was measured; the profile's otherwise.

    Raises:
        InputError: a designation is not in the catalogue.
    """
    ratio = _ratio(machine, track)
    known = ratio.standard_uncertainty <= LEAST_RATIO_KNOWLEDGE * ratio.value
    bearings, remarks = [], []
    for listed in machine.bearings:
        on_motor = listed.shaft == "motor" and machine.drive == "belt"
        name = say("{place} bearing", place=listed.place)
        if on_motor and not known:
            remarks.append(
                say(
                    "the {name} cannot be looked for: the motor's ratio is known to no "
                    "better than {half:.0f} %",
                    name=name,
                    half=100 * ratio.standard_uncertainty / ratio.value,
                )
            )
            continue
        shaft = ratio if on_motor else DRUM_SHAFT
        bearings += [
            MountedBearing(name=name, geometry=row, shaft_order=shaft) for row in _rows(listed)
        ]
    competitors = _competitors(machine)
    return Mounted(
        bearings=tuple(bearings),
        competitors=competitors,
        remarks=tuple(remarks),
        belt_known=bool(competitors) or machine.drive == "direct",
    )


def _rows(listed: Bearing) -> tuple[BearingGeometry, ...]:
    if listed.balls and listed.ball_diameter_mm and listed.pitch_diameter_mm:
        return (
            BearingGeometry(
                designation=listed.designation or "",
                balls=listed.balls,
                ball_diameter_mm=listed.ball_diameter_mm,
                pitch_diameter_mm=listed.pitch_diameter_mm,
                contact_angle_deg=listed.contact_angle_deg,
                exact=True,
                source="machine profile",
            ),
        )
    return variants(listed.designation or "")


def _ratio(machine: Machine, track: SpeedTrack) -> Estimate:
    if track.motor_ratio is not None:
        return track.motor_ratio
    # The profile's tolerance bounds a rectangular distribution (GUM 4.3.7).
    spread = machine.drum_to_motor_ratio * machine.drum_to_motor_ratio_tolerance_percent / 100.0
    return Estimate(value=machine.drum_to_motor_ratio, standard_uncertainty=spread / math.sqrt(3.0))


def _competitors(machine: Machine) -> tuple[Competitor, ...]:
    belt = machine.belt
    if belt is None or belt.length_mm is None or belt.pulley_diameter_mm is None:
        return ()
    order = math.pi * belt.pulley_diameter_mm / belt.length_mm
    return (
        Competitor(
            cause="belt pass",
            order=order,
            standard_uncertainty=BELT_UNCERTAINTY * order,
            most_places=1,
        ),
    )
