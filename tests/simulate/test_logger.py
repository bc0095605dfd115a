"""The phone as an accelerometer."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.simulate.dynamics import STANDARD_GRAVITY
from spinlab.simulate.logger import turned
from spinlab.simulate.parameters import Logger, Parameters, Step
from spinlab.simulate.simulator import simulate, spin_test
from tests.simulate.machines import BALANCED, smooth, spin
from tests.simulate.measures import line_amplitude, rms

CLEAN = Logger(
    jitter_s=0.0,
    stamp_step_s=0.0,
    noise_m_s2=0.0,
    offset_m_s2=(0.0, 0.0, 0.0),
    bits=24,
    range_g=16.0,
)


def logged(p, logger=CLEAN):
    return simulate(replace(p, kind="acceleration", logger=logger), 1)


def still(logger):
    return logged(smooth(Step(kind="rest", hold_s=8.0)), logger).log


@pytest.mark.parametrize("tilt_deg", [(0.0, 0.0), (90.0, 0.0), (20.0, -35.0), (0.0, 90.0)])
def test_at_rest_the_sensor_feels_gravity_whichever_way_it_lies(tilt_deg):
    values = still(replace(CLEAN, tilt_deg=tilt_deg)).acceleration_m_s2
    np.testing.assert_allclose(np.linalg.norm(values, axis=0), STANDARD_GRAVITY, rtol=1e-4)
    expected = STANDARD_GRAVITY * np.cos(np.radians(tilt_deg[1]))
    assert values[2].mean() == pytest.approx(expected, abs=1e-3)


def test_turning_the_sensor_keeps_lengths():
    vector = np.random.default_rng(0).standard_normal((3, 50))
    for tilt_deg in ((0.0, 0.0), (33.0, -71.0)):
        np.testing.assert_allclose(
            np.linalg.norm(turned(vector, tilt_deg), axis=0), np.linalg.norm(vector, axis=0)
        )


def test_the_first_order_stands_at_the_drums_rate_and_grows_with_the_unbalance():
    sizes = []
    for mass_kg in (0.1, 0.2):
        p = smooth(*spin(1000.0, hold_s=12.0), unbalance=replace(BALANCED, mass_kg=mass_kg))
        p = replace(p, tub=replace(p.tub, friction_n=0.0))
        made = logged(p, replace(CLEAN, rate_hz=200.0, tilt_deg=(0.0, 0.0)))
        late = made.log.stamp_s > made.log.stamp_s[-1] - 6.0
        turns = np.interp(made.log.stamp_s[late], made.truth.time_s, made.truth.turns)
        lateral = made.log.acceleration_m_s2[0, late]
        sizes.append(line_amplitude(lateral, turns, 1))
        assert sizes[-1] > 10.0 * line_amplitude(lateral, turns, 1.3)
    assert sizes[1] / sizes[0] == pytest.approx(2.0, rel=0.02)


def test_the_case_moves_as_springs_and_dampers_pull_it():
    # Two masses in a row: tub displacement X = (m r w^2 / M) / |W^2 - w^2 + 2 i z W w|, pull on
    # the case M |W^2 + 2 i z W w| X, case acceleration pull w^2 / (C |w1^2 - w^2 + 2 i z1 w1 w|).
    p = smooth(*spin(900.0, hold_s=12.0), unbalance=replace(BALANCED, mass_kg=0.2))
    p = replace(p, tub=replace(p.tub, friction_n=0.0))
    made = logged(p, replace(CLEAN, rate_hz=400.0, tilt_deg=(0.0, 0.0)))
    late = made.log.stamp_s > made.log.stamp_s[-1] - 6.0
    turns = np.interp(made.log.stamp_s[late], made.truth.time_s, made.truth.turns)
    w = 2.0 * np.pi * made.truth.speed_rpm[-200:].mean() / 60.0
    own = 2.0 * np.pi * p.tub.horizontal_hz
    case, loss = 2.0 * np.pi * p.cabinet.rocking_hz, p.cabinet.damping_ratio
    spring = own**2 + 2j * p.tub.damping_ratio * own * w
    swing = 0.2 * 0.24 * w**2 / p.tub.mass_kg / abs(spring - w**2)
    pull = p.tub.mass_kg * abs(spring) * swing / p.cabinet.mass_kg
    expected = pull * w**2 / abs(case**2 - w**2 + 2j * loss * case * w)
    found = line_amplitude(made.log.acceleration_m_s2[0, late], turns, 1)
    assert found == pytest.approx(expected, rel=0.03)


def test_nothing_is_filtered_away_before_sampling_so_high_orders_fold_down():
    p = smooth(*spin(1200.0, hold_s=12.0), unbalance=replace(BALANCED, mass_kg=0.5))
    made = logged(p, replace(CLEAN, rate_hz=32.0, tilt_deg=(0.0, 0.0)))
    late = made.log.stamp_s > made.log.stamp_s[-1] - 6.0
    stamps, lateral = made.log.stamp_s[late], made.log.acceleration_m_s2[0, late]
    drum_hz = made.truth.speed_rpm[-300:].mean() / 60.0
    spectrum = np.abs(np.fft.rfft((lateral - lateral.mean()) * np.hanning(len(lateral)), 4096))
    found = np.argmax(spectrum) * 32.0 / 4096
    assert drum_hz > 16.0
    assert found == pytest.approx(32.0 - drum_hz, abs=0.1)
    assert np.all(np.diff(stamps) > 0.0)


def test_the_sensor_clips_at_its_range_and_rounds_to_its_bits():
    p = smooth(*spin(1400.0, hold_s=4.0), unbalance=replace(BALANCED, mass_kg=1.5))
    values = logged(p, replace(CLEAN, range_g=2.0, bits=12, rate_hz=200.0)).log.acceleration_m_s2
    step = 2.0 * STANDARD_GRAVITY / 2.0**11
    assert values.max() == pytest.approx(2.0 * STANDARD_GRAVITY - step)
    assert values.min() == pytest.approx(-2.0 * STANDARD_GRAVITY)
    np.testing.assert_allclose(values / step, np.rint(values / step), atol=1e-6)


def test_steps_jitter_and_stamps_are_whole_milliseconds():
    # Asked 100 Hz, got steps that scatter by about a tenth (vendors' and forum notes).
    stamps = still(Logger(rate_hz=100.0, jitter_s=0.001, stamp_step_s=0.001)).stamp_s
    np.testing.assert_allclose(stamps * 1000.0, np.rint(stamps * 1000.0), atol=1e-6)
    assert np.median(np.diff(stamps)) == pytest.approx(0.010, abs=1e-6)
    assert 0.0008 < np.std(np.diff(stamps)) < 0.002


def test_gaps_are_left_out_and_shown_by_the_stamps():
    whole, holed = still(CLEAN).stamp_s, still(replace(CLEAN, gaps=2)).stamp_s
    assert len(holed) < len(whole) - 15
    assert np.sum(np.diff(holed) > 0.09) in (1, 2)


def test_a_slow_clock_of_the_log_shifts_its_stamps():
    right, slow = (still(replace(CLEAN, clock_error_ppm=e)).stamp_s for e in (0.0, -1000.0))
    assert slow[-1] / right[-1] == pytest.approx(0.999, rel=1e-6)


def test_the_recording_is_the_log_on_an_even_grid():
    p = Parameters(programme=spin_test((800.0,), hold_s=3.0, coast_s=2.0))
    made = logged(p, replace(Logger(), jitter_s=0.0005))
    assert made.recording.kind == "acceleration"
    assert made.recording.channel_names == ("x", "y", "z")
    assert made.recording.start_s == pytest.approx(made.log.stamp_s[0])
    grid = made.recording.start_s + np.arange(made.recording.length) / made.recording.rate_hz
    again = np.interp(grid, made.log.stamp_s, made.log.acceleration_m_s2[0])
    np.testing.assert_allclose(made.recording.samples[0], again, atol=1e-5)
    assert rms(made.recording.samples[0]) > 0.05
