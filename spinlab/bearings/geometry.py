"""Rolling bearings: geometry, and the orders at which each kind of damage is heard.

Conventions: an order is a multiple of the rotation rate of the ring that turns.  With d the ball
diameter, D the pitch diameter, a the contact angle, N the balls and k = (d/D) cos a:

    outer ring fixed        inner ring fixed
    FTF  (1 - k)/2          (1 + k)/2           cage (fundamental train frequency)
    BPFO N (1 - k)/2        the same            balls passing a place on the outer ring
    BPFI N (1 + k)/2        the same            balls passing a place on the inner ring
    BSF  (1 - k^2)/(2 k)    the same            turns of a ball about itself
    2xBSF (1 - k^2)/k       the same            hits of a damaged ball: once on either ring

The ball pass rates depend only on how fast the rings turn against each other.  Published tables
mix BSF and 2xBSF: here "BSF" is always the ball's own turning and "2xBSF" the rate of hits.
Source of the formulas: any rolling bearing handbook; Randall and Antoni, Mechanical Systems and
Signal Processing 25 (2011) 485-520, equations 1-4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from spinlab.errors import InputError
from spinlab.phrase import say
from spinlab.speed.track import Estimate

Ring = Literal["outer", "inner"]
Fault = Literal["outer race", "inner race", "ball", "cage"]
FAULTS: tuple[Fault, ...] = ("outer race", "inner race", "ball", "cage")

# How far real ball passes depart from the formula.  Slip means fewer passes of the cage:
# condition-monitoring practice allows 1-3 %, the open MFPT rig shows 0.9-1.3 % below its own
# stored values.  Axial load opens a contact angle that no drawing shows and moves BPFO up, BPFI
# down: the open CWRU rig shows +0.2 % and -0.3 %.
SLIP_BELOW = 0.02
SLIP_ABOVE = 0.01


@dataclass(frozen=True, kw_only=True)
class BearingGeometry:
    """One bearing's inner dimensions, and how well they are known.

    Attributes:
        designation: what is stamped on it, e.g. "6205".
        balls: number of balls.
        ball_diameter_mm: diameter of a ball.
        pitch_diameter_mm: diameter of the circle through the balls' centres.
        contact_angle_deg: contact angle, 0 for a purely radial load.
        tolerance: relative half-width within which another maker's BPFO may lie.
        exact: True where the geometry was read in a source for this very bearing.
        source: where it was read.
        fixed_ring: the ring that does not turn.
    """

    designation: str
    balls: int
    ball_diameter_mm: float
    pitch_diameter_mm: float
    contact_angle_deg: float = 0.0
    tolerance: float = 0.002
    exact: bool = False
    source: str = ""
    fixed_ring: Ring = "outer"

    def __post_init__(self) -> None:
        name = self.designation or "the bearing"
        if self.balls < 3:
            raise InputError(
                say("{name}: balls must be at least 3, not {balls}.", name=name, balls=self.balls)
            )
        if not 0 < self.ball_diameter_mm < self.pitch_diameter_mm:
            raise InputError(
                say(
                    "{name}: ball_diameter_mm ({ball_diameter_mm:g}) must lie between 0 and "
                    "pitch_diameter_mm ({pitch_diameter_mm:g}).",
                    name=name,
                    ball_diameter_mm=self.ball_diameter_mm,
                    pitch_diameter_mm=self.pitch_diameter_mm,
                )
            )
        if not 0 <= self.contact_angle_deg < 90:
            raise InputError(say("{name}: contact_angle_deg must lie between 0 and 90.", name=name))
        if self.balls * self.ball_diameter_mm > math.pi * self.pitch_diameter_mm:
            raise InputError(
                say(
                    "{name}: {balls} balls of {ball_diameter_mm:g} mm do not fit on a circle "
                    "of {pitch_diameter_mm:g} mm; did you give the outside diameter in "
                    "another unit?",
                    name=name,
                    balls=self.balls,
                    ball_diameter_mm=self.ball_diameter_mm,
                    pitch_diameter_mm=self.pitch_diameter_mm,
                )
            )

    @property
    def ratio(self) -> float:
        """The only number that matters besides the ball count: k = (d/D) cos a."""
        angle = math.radians(self.contact_angle_deg)
        return self.ball_diameter_mm / self.pitch_diameter_mm * math.cos(angle)

    @property
    def cage_order(self) -> float:
        """FTF, turns of the cage per turn of the turning ring."""
        sign = -1.0 if self.fixed_ring == "outer" else 1.0
        return 0.5 * (1.0 + sign * self.ratio)

    @property
    def outer_race_order(self) -> float:
        """BPFO."""
        return 0.5 * self.balls * (1.0 - self.ratio)

    @property
    def inner_race_order(self) -> float:
        """BPFI."""
        return 0.5 * self.balls * (1.0 + self.ratio)

    @property
    def ball_spin_order(self) -> float:
        """BSF, turns of a ball about itself (half the rate at which a damaged ball hits)."""
        return (1.0 - self.ratio**2) / (2.0 * self.ratio)

    @property
    def ball_hit_order(self) -> float:
        """2xBSF, hits of a damaged ball on the two rings."""
        return 2.0 * self.ball_spin_order

    def order(self, fault: Fault) -> float:
        """Order at which this kind of damage repeats (2xBSF for a ball)."""
        return {
            "outer race": self.outer_race_order,
            "inner race": self.inner_race_order,
            "ball": self.ball_hit_order,
            "cage": self.cage_order,
        }[fault]

    def order_tolerance(self, fault: Fault) -> float:
        """Relative half-width of `order(fault)` from geometry.

        `tolerance` is that of BPFO; the others follow from the same error of k.
        """
        k = self.ratio
        error_k = self.tolerance * (1.0 - k) / k
        slope = {
            "outer race": k / (1.0 - k),
            "inner race": k / (1.0 + k),
            "ball": (1.0 + k * k) / (1.0 - k * k),
            "cage": k / (1.0 - k) if self.fixed_ring == "outer" else k / (1.0 + k),
        }[fault]
        return error_k * slope


# The drum's own shaft, exactly.
DRUM_SHAFT = Estimate(value=1.0, standard_uncertainty=0.0)


@dataclass(frozen=True, kw_only=True)
class MountedBearing:
    """A bearing in its place on a shaft.

    Attributes:
        name: what to call it, e.g. "rear drum bearing".
        geometry: its dimensions.
        shaft_order: turns of its shaft per turn of the drum: 1 on the drum's shaft, the drive
            ratio on the motor's.
    """

    name: str
    geometry: BearingGeometry
    shaft_order: Estimate = field(default_factory=lambda: DRUM_SHAFT)

    def __post_init__(self) -> None:
        if not (math.isfinite(self.shaft_order.value) and self.shaft_order.value > 0):
            raise InputError(
                say("{name}: the shaft's order must be a positive number.", name=self.name)
            )

    def order(self, fault: Fault) -> float:
        """Order of the fault on the drum's scale."""
        return self.geometry.order(fault) * self.shaft_order.value

    def sideband_order(self, fault: Fault) -> float:
        """Spacing of the fault's sidebands on the drum's scale.

        The load's own rotation past the damage: the shaft for a race (inner race under a steady
        load, outer race under a rotating one such as unbalance; likewise the cage under a
        rotating one, since under a steady one its sidebands are its harmonics), the cage for a
        ball.
        """
        step = self.geometry.cage_order if fault == "ball" else 1.0
        return step * self.shaft_order.value

    def search_range(self, fault: Fault, speed_uncertainty: float = 0.0) -> tuple[float, float]:
        """Lowest and highest drum order at which the fault may be heard.

        The geometry's tolerance, two standard uncertainties of shaft ratio and speed, and slip.

        Args:
            fault: kind of damage.
            speed_uncertainty: relative standard uncertainty of the speed's scale.
        """
        ratio = self.shaft_order.standard_uncertainty / self.shaft_order.value
        geometry = self.geometry.order_tolerance(fault)
        spread = math.hypot(geometry, 2.0 * ratio, 2.0 * speed_uncertainty)
        centre = self.order(fault)
        return centre * (1.0 - SLIP_BELOW - spread), centre * (1.0 + SLIP_ABOVE + spread)
