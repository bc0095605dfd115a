"""What tests of findings share: an invented machine, and values with their uncertainty."""

from spinlab.machine.value import Machine, Motor
from spinlab.speed.track import Estimate

MACHINE = Machine(
    name="invented",
    drive="belt",
    drum_to_motor_ratio=11.0,
    drum_to_motor_ratio_tolerance_percent=1.0,
    motor=Motor(kind="three-phase", pole_pairs=2, slots=24),
    rated_maximum_rpm=1400.0,
    mains_v=230.0,
    heater_w=2000.0,
)


def e(value, u=0.01):
    """A value and its standard uncertainty."""
    return Estimate(value=value, standard_uncertainty=u)
