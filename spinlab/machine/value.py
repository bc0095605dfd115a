"""The machine as frozen values, with the bounds that a profile must keep.

Each bound stands beside its field as `annotated_types` metadata, which pydantic reads when a
profile is loaded; what concerns several fields at once stands in `__post_init__`, so that it
holds for a value made in Python as well.

Units are in the names.  A *motor turn per drum turn* ratio of 10 means that the motor's shaft
turns ten times while the drum turns once.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, MaxLen, MinLen

from spinlab.phrase import say

Drive = Literal["belt", "direct"]
MotorKind = Literal["brushed", "three-phase", "direct"]
Place = Literal["front drum", "rear drum", "motor drive end", "motor far end"]
MainsHz = Literal[50, 60]

# The bounds below are wide on purpose: they catch a slipped decimal point or a wrong unit, and
# turn no real appliance away.  Common practice, no published source.
DrumSpeed = Annotated[float, Gt(0), Le(3000)]
Percent = Annotated[float, Gt(0), Le(50)]
Seconds = Annotated[float, Gt(0), Le(3600)]
Count = Annotated[int, Ge(1), Le(400)]
Name = Annotated[str, MinLen(1), MaxLen(80)]

_CONFIG = {"extra": "forbid", "allow_inf_nan": False}


@dataclass(frozen=True, kw_only=True)
class Motor:
    """The motor and the counts that decide at which orders it can be heard.

    Attributes:
        kind: "brushed" (commutator), "three-phase" (behind a belt) or "direct" (on the drum).
        pole_pairs: pairs of magnetic poles.
        slots: stator slots (for a brushed motor: armature slots).
        commutator_bars: copper bars of a brushed motor's commutator.
    """

    kind: MotorKind
    pole_pairs: Count | None = None
    slots: Count | None = None
    commutator_bars: Count | None = None

    __pydantic_config__ = _CONFIG

    def __post_init__(self) -> None:
        if self.commutator_bars is not None and self.kind != "brushed":
            raise ValueError(say("commutator_bars belong to a brushed motor only"))


@dataclass(frozen=True, kw_only=True)
class Belt:
    """The belt between motor and drum (lengths in mm)."""

    length_mm: Annotated[float, Gt(100), Le(5000)] | None = None
    pulley_diameter_mm: Annotated[float, Gt(20), Le(1000)] | None = None

    __pydantic_config__ = _CONFIG


@dataclass(frozen=True, kw_only=True)
class Bearing:
    """One rolling bearing: where it sits, and its designation or its geometry (mm, degrees)."""

    place: Place
    designation: Name | None = None
    balls: Annotated[int, Ge(3), Le(60)] | None = None
    ball_diameter_mm: Annotated[float, Gt(0), Le(200)] | None = None
    pitch_diameter_mm: Annotated[float, Gt(0), Le(1000)] | None = None
    contact_angle_deg: Annotated[float, Ge(0), Le(60)] = 0.0

    __pydantic_config__ = _CONFIG

    def __post_init__(self) -> None:
        geometry = (self.balls, self.ball_diameter_mm, self.pitch_diameter_mm)
        known = sum(part is not None for part in geometry)
        if self.designation is None and known < len(geometry):
            raise ValueError(
                say(
                    "a bearing needs a designation, or all of balls, ball_diameter_mm and "
                    "pitch_diameter_mm"
                )
            )
        if 0 < known < len(geometry):
            raise ValueError(
                say("bearing geometry is balls, ball_diameter_mm and pitch_diameter_mm together")
            )
        ball, circle = self.ball_diameter_mm, self.pitch_diameter_mm
        if ball is not None and circle is not None and ball >= circle:
            raise ValueError(say("ball_diameter_mm must be smaller than pitch_diameter_mm"))

    @property
    def shaft(self) -> Literal["drum", "motor"]:
        """Which shaft turns in it."""
        return "drum" if self.place.endswith("drum") else "motor"


@dataclass(frozen=True, kw_only=True)
class Plateau:
    """One speed that the programme asks for.

    Attributes:
        rpm: the drum speed asked for.
        tolerance_percent: allowed departure in percent of `rpm`; or
        tolerance_rpm: allowed departure in rpm (one of the two).
        reach_within_s: latest time to reach it, counted from the start of the spin.
        dwell_at_least_s: least time to hold it.
    """

    rpm: DrumSpeed
    tolerance_percent: Percent | None = None
    tolerance_rpm: Annotated[float, Gt(0), Le(500)] | None = None
    reach_within_s: Seconds | None = None
    dwell_at_least_s: Seconds | None = None

    __pydantic_config__ = _CONFIG

    def __post_init__(self) -> None:
        if (self.tolerance_percent is None) == (self.tolerance_rpm is None):
            raise ValueError(say("a plateau needs one of tolerance_percent and tolerance_rpm"))

    @property
    def allowed_departure_rpm(self) -> float:
        """The tolerance in rpm, however it was given."""
        if self.tolerance_rpm is not None:
            return self.tolerance_rpm
        assert self.tolerance_percent is not None
        return self.rpm * self.tolerance_percent / 100.0


@dataclass(frozen=True, kw_only=True)
class Machine:
    """The profile of the unit under test.

    Attributes:
        name: what the profile is called in reports.
        description: one line about what it covers.
        drive: "belt" or "direct".
        drum_to_motor_ratio: motor turns per drum turn; exactly 1 for a direct drive.
        drum_to_motor_ratio_tolerance_percent: how far the ratio may be off.
        motor: the motor's kind and counts.
        rated_maximum_rpm: the highest drum speed on the type plate.
        belt: the belt, where known.
        bearings: the bearings, where known.
        programme: the plateaus of the spin test, slowest first.
        mains_hz: 50 or 60, None where unknown.
        mains_v: mains voltage, V.
        heater_w: rated power of the heating element, W.
        drum_inertia_kg_m2: moment of inertia of drum, pulley and shaft about the axis.
        drum_radius_mm: inner radius of the drum.
    """

    name: Name
    drive: Drive
    drum_to_motor_ratio: Annotated[float, Ge(1), Le(40)]
    motor: Motor
    rated_maximum_rpm: DrumSpeed
    description: Annotated[str, MaxLen(400)] = ""
    drum_to_motor_ratio_tolerance_percent: Annotated[float, Ge(0), Le(50)] = 0.0
    belt: Belt | None = None
    bearings: Annotated[tuple[Bearing, ...], MaxLen(12)] = ()
    programme: Annotated[tuple[Plateau, ...], MaxLen(40)] = ()
    mains_hz: MainsHz | None = None
    mains_v: Annotated[float, Gt(50), Le(500)] | None = None
    heater_w: Annotated[float, Gt(100), Le(10000)] | None = None
    drum_inertia_kg_m2: Annotated[float, Gt(0), Le(20)] | None = None
    drum_radius_mm: Annotated[float, Gt(50), Le(600)] | None = None

    __pydantic_config__ = _CONFIG

    def __post_init__(self) -> None:
        self._check_drive()
        speeds = [plateau.rpm for plateau in self.programme]
        if any(later <= earlier for earlier, later in itertools.pairwise(speeds)):
            raise ValueError(
                say(
                    "programme must list its plateaus from the slowest to the fastest, each rpm "
                    "once"
                )
            )
        if speeds and speeds[-1] > self.rated_maximum_rpm:
            raise ValueError(
                say(
                    "programme asks for {asked:g} rpm, above rated_maximum_rpm {maximum:g}",
                    asked=speeds[-1],
                    maximum=self.rated_maximum_rpm,
                )
            )

    def _check_drive(self) -> None:
        if (self.drive == "direct") != (self.motor.kind == "direct"):
            raise ValueError(
                say(
                    'drive = "direct" goes with motor kind = "direct", and drive = "belt" '
                    'with "brushed" or "three-phase"'
                )
            )
        if self.drive == "direct" and self.drum_to_motor_ratio != 1:
            raise ValueError(
                say("a direct drive has drum_to_motor_ratio = 1, or no such key at all")
            )
        if self.drive == "direct" and self.belt is not None:
            raise ValueError(say("a direct drive has no belt"))

    @property
    def drum_to_motor_ratio_range(self) -> tuple[float, float]:
        """Lowest and highest ratio that the profile allows."""
        spread = self.drum_to_motor_ratio_tolerance_percent / 100.0
        return self.drum_to_motor_ratio * (1 - spread), self.drum_to_motor_ratio * (1 + spread)
