"""The profiles that a technician would have of a simulated unit: generic, or from its papers."""

from __future__ import annotations

from dataclasses import replace

from spinlab.machine import Bearing, Machine, Plateau, load_machine
from spinlab.machine.value import Place
from spinlab.simulate import Parameters
from spinlab.simulate.machine_parameters import BearingFault
from tests.benchmarks.simulated import machine_of

TOLERANCE_PERCENT = 3.0
DRIVES = {"brushed": "belt-brushed", "three_phase": "belt-three-phase", "direct": "direct-drive"}


def programme_of(p: Parameters) -> tuple[Plateau, ...]:
    """What the unit's spin test asks for, as its service papers list it."""
    asked = sorted({step.rpm for step in p.programme if step.kind == "spin"})
    return tuple(Plateau(rpm=rpm, tolerance_percent=TOLERANCE_PERCENT) for rpm in asked)


def generic(p: Parameters) -> Machine:
    """A shipped profile (ratio only known to lie between 8 and 13) with the unit's programme."""
    programme = programme_of(p)
    rated = f"{programme[-1].rpm:.0f}"
    return replace(load_machine(f"{DRIVES[p.drive.kind]}-{rated}"), programme=programme)


def from_papers(p: Parameters) -> Machine:
    """Everything that service papers say: ratio within 1 %, counts, belt, bearings, programme."""
    usual = BearingFault()  # its geometry is that of every simulated bearing
    places: list[Place] = ["rear drum", "front drum"]
    if p.drive.kind != "direct":
        places.append("motor drive end")
    programme = programme_of(p)
    return replace(
        machine_of(p),
        programme=programme,
        rated_maximum_rpm=programme[-1].rpm,
        bearings=tuple(
            Bearing(
                place=place,
                balls=usual.balls,
                ball_diameter_mm=usual.ball_diameter_mm,
                pitch_diameter_mm=usual.pitch_diameter_mm,
                contact_angle_deg=usual.contact_angle_deg,
            )
            for place in places
        ),
    )
