"""The tub on its springs against the vibration handbook."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.simulate.suspension import damped_mode, shake
from tests.simulate.machines import BALANCED, run, smooth, spin

RATE_HZ = 1000.0


def steady_amplitude(drive_hz, *, natural_hz=3.0, damping_ratio=0.1, friction=0.0):
    time_s = np.arange(int(60.0 * RATE_HZ)) / RATE_HZ
    push = np.cos(2.0 * np.pi * drive_hz * time_s)
    found, _ = damped_mode(
        push, RATE_HZ, natural_hz=natural_hz, damping_ratio=damping_ratio, friction=friction
    )
    return np.abs(found[-int(10.0 * RATE_HZ) :]).max()


@pytest.mark.parametrize("drive_hz", [1.0, 2.5, 3.0, 4.0, 10.0, 20.0])
def test_a_driven_mode_swings_as_the_transfer_function_says(drive_hz):
    # |X/F| = 1 / sqrt((W^2 - w^2)^2 + (2 z W w)^2): any text on vibration, e.g. Den Hartog.
    natural, drive = 2.0 * np.pi * 3.0, 2.0 * np.pi * drive_hz
    expected = 1.0 / np.hypot(natural**2 - drive**2, 2.0 * 0.1 * natural * drive)
    assert steady_amplitude(drive_hz) == pytest.approx(expected, rel=0.005)


def test_resonance_amplifies_by_one_over_twice_the_damping_ratio():
    static = 1.0 / (2.0 * np.pi * 3.0) ** 2
    assert steady_amplitude(3.0) / static == pytest.approx(1.0 / (2.0 * 0.1), rel=0.005)


def test_a_free_swing_decays_by_the_logarithmic_decrement():
    push = np.zeros(int(20.0 * RATE_HZ))
    push[:10] = 100.0
    swing, _ = damped_mode(push, RATE_HZ, natural_hz=3.0, damping_ratio=0.05)
    peaks = swing[1:-1][(swing[1:-1] > swing[:-2]) & (swing[1:-1] >= swing[2:])]
    decrement = np.log(peaks[:5] / peaks[1:6])
    np.testing.assert_allclose(decrement, 2.0 * np.pi * 0.05 / np.sqrt(1.0 - 0.05**2), rtol=0.01)


def test_dry_friction_takes_the_same_amount_from_every_swing():
    # Amplitude falls by 4 F / K per cycle (Den Hartog); per mass: 4 f / W^2.
    push = np.zeros(int(4.0 * RATE_HZ))
    push[:10] = 200.0
    swing, _ = damped_mode(push, RATE_HZ, natural_hz=3.0, damping_ratio=0.0, friction=1.5)
    peaks = swing[1:-1][(swing[1:-1] > swing[:-2]) & (swing[1:-1] >= swing[2:])]
    np.testing.assert_allclose(-np.diff(peaks[:5]), 4.0 * 1.5 / (2.0 * np.pi * 3.0) ** 2, rtol=0.02)


def test_acceleration_is_the_second_derivative_of_displacement():
    time_s = np.arange(int(10.0 * RATE_HZ)) / RATE_HZ
    push = np.cos(2.0 * np.pi * 2.0 * time_s)
    swing, acceleration = damped_mode(push, RATE_HZ, natural_hz=3.0, damping_ratio=0.1)
    twice = np.gradient(np.gradient(swing, 1.0 / RATE_HZ), 1.0 / RATE_HZ)
    assert np.abs(twice - acceleration)[10:-10].max() < 0.01 * np.abs(acceleration).max()


def test_far_above_resonance_the_tub_moves_by_unbalance_over_mass():
    # x -> m r / M for a rotor well above its suspension (Den Hartog, self-centring).
    p = smooth(*spin(1400.0, hold_s=8.0), unbalance=replace(BALANCED, mass_kg=0.3))
    p = replace(p, tub=replace(p.tub, friction_n=0.0))
    swing = shake(p, run(p)).displacement[:2, -1000:]
    ratio = (60.0 * 2.6 / 1400.0) ** 2, (60.0 * 3.4 / 1400.0) ** 2
    for row, share in zip(swing, ratio, strict=True):
        expected = 0.3 * 0.24 / p.tub.mass_kg / (1.0 - share)
        assert np.std(row) * np.sqrt(2.0) == pytest.approx(expected, rel=0.02)


def test_worn_dampers_let_the_tub_swing_further_as_it_passes_resonance():
    p = smooth(*spin(800.0, rise=60.0), unbalance=replace(BALANCED, mass_kg=0.3))
    sound = np.abs(shake(p, run(p)).displacement[:2]).max()
    worn = replace(p, tub=replace(p.tub, damping_ratio=0.02, friction_n=2.0))
    assert np.abs(shake(worn, run(worn)).displacement[:2]).max() > 2.0 * sound
