"""Small machines for the tests: one effect at a time."""

from dataclasses import replace

from spinlab.simulate.dynamics import Motion, integrate
from spinlab.simulate.parameters import (
    Belt,
    Drum,
    Parameters,
    Phone,
    Step,
    Surroundings,
    Unbalance,
    Voice,
)
from spinlab.simulate.programme import command
from spinlab.simulate.timebase import Timebase, timebase

SILENT_DB = -300.0
SMOOTH_DRUM = Drum(
    inertia_kg_m2=0.3,
    seal_friction_nm=0.0,
    viscous_nm_s=0.0,
    windage_nm_s2=0.0,
    torque_noise_nm=0.0,
)
BALANCED = Unbalance(mass_kg=0.0, wander_share=0.0, wander_turns=0.0)
QUIET = Surroundings(room_noise_db=None)
MUTE = Voice(
    motor_db=SILENT_DB, drum_orders_db=SILENT_DB, belt_db=SILENT_DB, turbulence=0.0, bands=()
)


def spin(rpm: float, *, hold_s: float = 6.0, rise: float = 200.0) -> tuple[Step, ...]:
    """Straight up to one plateau."""
    return (Step(kind="spin", rpm=rpm, rise_rpm_per_s=rise, hold_s=hold_s),)


def smooth(*steps: Step, **parts: object) -> Parameters:
    """A machine without friction, noise or unbalance, unless `parts` say otherwise."""
    plain = Parameters(
        programme=steps,
        drum=SMOOTH_DRUM,
        unbalance=BALANCED,
        surroundings=QUIET,
        voice=MUTE,
        belt=Belt(rest_creep=0.0, creep_at_capacity=0.0),
        phone=Phone(rate_hz=16000),
    )
    return replace(plain, **parts)  # type: ignore[arg-type]


def run(p: Parameters, seed: int = 1) -> Motion:
    """What its drum does."""
    return integrate(p, command(p.programme), seed)


def heard_by(p: Parameters, *, rate_hz: float = 16000.0, seed: int = 1) -> Timebase:
    """Its sample instants."""
    return timebase(run(p, seed), seed=seed, rate_hz=rate_hz)
