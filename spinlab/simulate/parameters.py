"""Everything that describes one simulated recording: the machine, the place and the recorder.

All values are frozen.  What a parameter does not say (panel modes, formants, arrival times of
reflections) is drawn from the seed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from spinlab.simulate.machine_parameters import (
    BearingFault,
    BearingPart,
    BearingPlace,
    Belt,
    Cabinet,
    Drive,
    DriveKind,
    Drum,
    Loose,
    NoiseBand,
    Step,
    StepKind,
    Tub,
    Unbalance,
    Voice,
)
from spinlab.simulate.site_parameters import Codec, Logger, Phone, Placement, Room, Surroundings

__all__ = [
    "BearingFault",
    "BearingPart",
    "BearingPlace",
    "Belt",
    "Cabinet",
    "Codec",
    "Drive",
    "DriveKind",
    "Drum",
    "Logger",
    "Loose",
    "NoiseBand",
    "Parameters",
    "Phone",
    "Placement",
    "Room",
    "Step",
    "StepKind",
    "Surroundings",
    "Tub",
    "Unbalance",
    "Voice",
]

# Numbers at which a healthy machine turns into a faulty one, for the truth's list of faults.
# They say what the simulation meant, not what anyone could hear.
FAULTY_UNBALANCE_KG = 0.25
GROSS_UNBALANCE_KG = 0.8
HEALTHY_DAMPING = 0.06
SLACK_SHARE = 1.2  # a sound belt carries this many times the motor's torque
HUNTING_RELAY_NM = 1.5
GROSS_RELAY_NM = 4.0


@dataclass(frozen=True, kw_only=True)
class Parameters:
    """One simulated recording, whole."""

    name: str = "healthy"
    description: str = ""
    kind: Literal["sound", "acceleration"] = "sound"
    programme: tuple[Step, ...] = ()
    drum: Drum = field(default_factory=Drum)
    unbalance: Unbalance = field(default_factory=Unbalance)
    tub: Tub = field(default_factory=Tub)
    cabinet: Cabinet = field(default_factory=Cabinet)
    drive: Drive = field(default_factory=Drive)
    belt: Belt = field(default_factory=Belt)
    bearings: tuple[BearingFault, ...] = ()
    loose: Loose = field(default_factory=Loose)
    voice: Voice = field(default_factory=Voice)
    surroundings: Surroundings = field(default_factory=Surroundings)
    room: Room = field(default_factory=Room)
    phone: Phone = field(default_factory=Phone)
    logger: Logger = field(default_factory=Logger)

    @property
    def faults(self) -> dict[str, float]:
        """What is wrong with the machine: name -> severity 0..1, empty when healthy."""
        belted = self.drive.kind != "direct"
        carried = SLACK_SHARE * self.drive.torque_limit_nm
        weak_belt = belted and self.belt.capacity_nm < carried
        all_of_it = {
            f"bearing: {fault.place}, {fault.part}": fault.severity for fault in self.bearings
        } | {
            "imbalance": min(self.unbalance.mass_kg / GROSS_UNBALANCE_KG, 1.0)
            * (self.unbalance.mass_kg >= FAULTY_UNBALANCE_KG),
            "suspension": max(1.0 - self.tub.damping_ratio / HEALTHY_DAMPING, 0.0),
            "belt: slip": (1.0 - self.belt.capacity_nm / carried) * weak_belt,
            "belt: damaged place": self.belt.defect * belted,
            "motor: lost phase": self.drive.lost_phase,
            "motor: position sensor": self.drive.hall_error,
            "motor: brush arcing": self.drive.arcing,
            "motor: hunting": min(self.drive.relay_nm / GROSS_RELAY_NM, 1.0)
            * (self.drive.relay_nm >= HUNTING_RELAY_NM),
            "motor: tachometer lost": self.drive.tachometer_loss,
            "motor: dead direction": float(self.drive.dead_direction != 0),
            "looseness: counterweight": self.loose.counterweight,
            "looseness: object in the drum": self.loose.coin,
            "looseness: feet": self.loose.feet,
        }
        return {name: float(severity) for name, severity in all_of_it.items() if severity > 0.0}
