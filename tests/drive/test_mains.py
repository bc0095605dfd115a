"""One rule for the mains frequency: 50 and 60 Hz are the grids of IEC 60038."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.drive.mains import mains_frequency_hz
from spinlab.machine.value import Machine, Motor
from spinlab.speed.track import Estimate, SpeedTrack

MACHINE = Machine(
    name="any",
    drive="belt",
    drum_to_motor_ratio=11.0,
    motor=Motor(kind="brushed"),
    rated_maximum_rpm=1400.0,
)


def heard(mains_hz):
    rest = np.zeros(3)
    return SpeedTrack(
        time_s=np.arange(3.0),
        speed_rpm=rest,
        standard_uncertainty_rpm=rest,
        confidence=rest,
        motion=np.full(3, "rest"),
        carried_by=np.full(3, ""),
        mains_hz=None if mains_hz is None else Estimate(value=mains_hz, standard_uncertainty=0.02),
    )


@pytest.mark.parametrize(
    ("stated", "read", "used"),
    [
        (50, 50.04, 50.04),  # the grid drifts by some hundredths
        (50, 60.02, 50.0),
        (60, None, 60.0),
        (None, 59.97, 59.97),
        (None, None, None),
    ],
)
def test_the_profile_decides_which_grid_and_the_recording_how_exactly(stated, read, used):
    assert mains_frequency_hz(heard(read), replace(MACHINE, mains_hz=stated)) == used


def test_without_a_profile_the_recording_alone_says():
    assert mains_frequency_hz(heard(50.01), None) == 50.01
