"""Ratio, slip, belt pass, motor families and carrier from signals made by formula."""

import numpy as np
import pytest

from spinlab.drive.belt_pass import belt_pass
from spinlab.drive.carrier import carrier
from spinlab.drive.motor import family_names, motor_orders
from spinlab.drive.ratio import RatioPoint, _slips, drive_ratio
from spinlab.drive.spectra import order_spectra, without
from spinlab.speed.track import Estimate
from tests.vibration.signals import coarse, sound_of

RATE = 8000.0
RATIO = 10.37
PLATEAUS = (600.0, 900.0, 1200.0)


def staircase(hold_s=10.0, rise_s=3.0):
    """Time, drum speed and drum turns of three plateaus joined by ramps."""
    knots_t, knots_n = [0.0], [PLATEAUS[0]]
    for k, level in enumerate(PLATEAUS):
        if k:
            knots_t.append(knots_t[-1] + rise_s)
            knots_n.append(level)
        knots_t.append(knots_t[-1] + hold_s)
        knots_n.append(level)
    t = np.arange(0, knots_t[-1], 1 / RATE)
    speed = np.interp(t, knots_t, knots_n)
    return t, speed, np.cumsum(speed) / 60.0 / RATE


def unit(orders, *, noise=1.0, seed=0, slip=None, drum=()):
    """Sound and track of a motor with these orders (order -> size)."""
    t, speed, turns = staircase()
    motor_rate = speed * RATIO
    if slip is not None:
        motor_rate = motor_rate * (1.0 + slip(t))
    motor = np.cumsum(motor_rate) / 60.0 / RATE
    x = noise * np.random.default_rng(seed).standard_normal(len(t))
    for order, size in orders.items():
        x += size * np.cos(2 * np.pi * order * motor + order)
    for order, size in drum:
        x += size * np.cos(2 * np.pi * order * turns + order)
    return sound_of(0.01 * x, RATE), coarse(t, speed, uncertainty_rpm=0.1)


def spectra_of(sound, track, highest=140.0):
    return order_spectra(sound, track, highest_order=highest)


def test_the_ratio_is_found_on_every_plateau_within_its_interval():
    spectra = spectra_of(*unit({1: 0.2, 2: 0.15, 12: 0.2}))
    _, track = unit({1: 0.2})
    found = drive_ratio(spectra, track, (1.0, 2.0, 3.0, 12.0), expected=10.5)
    assert len(found.plateaus) == 3
    for point in found.plateaus:
        error = abs(point.ratio.value - RATIO)
        assert error <= 2.5 * point.ratio.standard_uncertainty
        assert point.ratio.standard_uncertainty < 0.001 * RATIO
    assert found.slips == ()
    creep = found.creep_percent
    assert abs(creep.value) <= 2.0 * creep.standard_uncertainty


def test_creep_that_grows_with_speed_is_measured():
    # motor runs 0 / 0.25 / 0.5 % ahead on the three plateaus: 0.5 % by construction
    def slip(t):
        return np.interp(t, [0, 10, 13, 23, 26, 36], [0, 0, 0.0025, 0.0025, 0.005, 0.005])

    sound, track = unit({1: 0.3, 2: 0.2, 12: 0.3}, slip=slip)
    found = drive_ratio(spectra_of(sound, track), track, (1.0, 2.0, 3.0, 12.0), expected=RATIO)
    assert found.creep_percent.value == pytest.approx(0.5, abs=0.1)


def test_a_slip_of_4_percent_in_a_ramp_is_found_there():
    def slip(t):
        return 0.04 * ((t > 10.2) & (t < 12.8))

    sound, track = unit({1: 0.6, 2: 0.5, 3: 0.5}, slip=slip)
    found = drive_ratio(spectra_of(sound, track, 60.0), track, (1.0, 2.0, 3.0), expected=RATIO)
    worst = max(found.slips, key=lambda e: e.slip_percent.value)
    assert 10.0 < worst.time_s < 13.0
    assert worst.slip_percent.value == pytest.approx(4.0, abs=1.5)


def test_noise_has_no_ratio():
    for seed in range(5):
        sound, track = unit({}, seed=seed)
        found = drive_ratio(spectra_of(sound, track), track, (1.0, 2.0, 3.0), expected=RATIO)
        assert found.ratio is None or not found.plateaus


def test_the_belts_harmonics_are_heard_at_pi_d_over_l():
    # pi * 285 / 1240 by hand: 0.7221
    order = np.pi * 285.0 / 1240.0
    drum = [(k * order, 0.2) for k in range(1, 13)]
    found = belt_pass(spectra_of(*unit({}, drum=drum), 20.0), order)
    assert found.order == pytest.approx(order, rel=2e-3)
    assert found.heard >= 24
    assert found.excess > 8.0
    for seed in range(5):
        quiet = belt_pass(spectra_of(*unit({}, seed=seed), 20.0), order)
        assert quiet.heard <= 2
        assert quiet.excess < 4.0


def test_each_harmonic_of_the_belt_may_be_heard_at_another_speed():
    # panels let each harmonic through on one plateau of three: none is there on two of them
    order = np.pi * 285.0 / 1240.0
    t, speed, turns = staircase()
    x = np.random.default_rng(2).standard_normal(len(t))
    for k in range(1, 19):
        x += 0.12 * (speed == PLATEAUS[k % 3]) * np.cos(2 * np.pi * k * order * turns + k)
    spectra = spectra_of(sound_of(0.01 * x, RATE), coarse(t, speed, uncertainty_rpm=0.1), 24.0)
    assert belt_pass(spectra, order).excess > 4.0


def test_the_hum_of_the_mains_is_not_taken_for_the_motor():
    # 60 Hz on the plateau of 600 rpm lies at order 6.0: 1 % under a motor of 6.06 turns per turn
    ratio = 6.06
    t, speed, turns = staircase()
    x = np.random.default_rng(3).standard_normal(len(t))
    x += 0.5 * np.cos(2 * np.pi * 60.0 * t) + 0.5 * np.cos(2 * np.pi * 120.0 * t)
    for member in (1, 2, 3):
        x += 0.1 * (speed > 650.0) * np.cos(2 * np.pi * member * ratio * turns)
    spectra = spectra_of(sound_of(0.01 * x, RATE), coarse(t, speed, uncertainty_rpm=0.1), 24.0)
    members, track = (1.0, 2.0, 3.0), coarse(t, speed, uncertainty_rpm=0.1)
    free = without(spectra, tones_hz=[60.0 * k for k in range(1, 11)])
    found = drive_ratio(free, track, members, expected=ratio)
    for point in found.plateaus:
        assert abs(point.ratio.value - ratio) <= 3.0 * point.ratio.standard_uncertainty
    # with the hum left in, it is what the slowest plateau is read from
    misled = drive_ratio(spectra, track, members, expected=ratio)
    assert min(point.ratio.value for point in misled.plateaus) < 0.995 * ratio


def test_families_have_the_orders_of_the_textbook():
    # 2 pole pairs: ripple 6 p k = 12, 24, 36; lcm of 18 slots and 4 poles = 36 (handbook, from
    # memory); 24 bars: 24 and 48
    names = family_names(pole_pairs=2, slots=18, commutator_bars=None)
    assert "torque ripple 6 x electrical" in names[12]
    assert "cogging, lcm of slots and poles" in names[36]
    assert "2 x electrical, pole passing" in names[4]
    bars = family_names(pole_pairs=None, slots=None, commutator_bars=24)
    assert bars[48] == ("2 x commutator bars",)


def families(orders):
    spectra = spectra_of(*unit(orders), 220.0)
    names = family_names(pole_pairs=2, slots=18, commutator_bars=None)
    return motor_orders(spectra, names, ratio=RATIO, pole_pairs=2, plateaus_rpm=PLATEAUS)


def test_levels_of_motor_orders_are_those_put_in():
    found = families({12: 0.4, 4: 0.1, 18: 0.2})
    level = {line.order: line.level_db for line in found.lines}
    # 20 log10(0.1 / 0.4) = -12.0 dB and 20 log10(0.2 / 0.4) = -6.0 dB
    assert level[4] == pytest.approx(-12.0, abs=1.5)
    assert level[18] == pytest.approx(-6.0, abs=1.5)


def test_a_lost_phase_raises_twice_and_a_bad_sensor_once_the_electrical_order():
    healthy = families({12: 0.3, 4: 0.05})
    lost = families({12: 0.3, 4: 0.9})
    sensor = families({12: 0.3, 4: 0.3, 2: 0.5, 6: 0.4, 10: 0.3})
    assert healthy.twice_electrical_db < -6.0
    assert lost.twice_electrical_db > 6.0
    assert lost.once_electrical_db is None
    assert sensor.once_electrical_db > -3.0


def fed(phases):
    """Torque of some of three phases: back-EMF with a fifth harmonic times a sine current.

    Each phase's product holds 2, 4 and 6 times the electrical frequency; three at 120 degrees
    leave 6 alone (sum of cosines at thirds of a turn; any textbook on electrical machines).
    """
    t, speed, turns = staircase()
    angle = 2 * np.pi * 2 * RATIO * turns
    x = np.random.default_rng(1).standard_normal(len(t))
    for k in phases:
        own = angle - 2 * np.pi * k / 3
        x += 0.5 * (np.sin(own) + 0.5 * np.sin(5 * own)) * np.sin(own)
    spectra = spectra_of(sound_of(0.01 * x, RATE), coarse(t, speed, uncertainty_rpm=0.1), 220.0)
    names = family_names(pole_pairs=2, slots=18, commutator_bars=None)
    return motor_orders(spectra, names, ratio=RATIO, pole_pairs=2, plateaus_rpm=PLATEAUS)


def test_of_three_phases_one_of_which_is_lost_four_times_the_frequency_is_left():
    sound, lost = fed((0, 1, 2)), fed((0, 1))
    assert sound.usual_heard
    assert sound.four_times_electrical_db is None
    # two phases left: 4 f at 120 degrees adds to 0.25, 6 f in phase to 0.5, 20 log10(1 / 2) = -6 dB
    assert lost.four_times_electrical_db == pytest.approx(-6.0, abs=1.5)
    assert lost.three_over_four_db < -10.0


def test_what_a_position_sensor_makes_at_four_times_has_its_odd_neighbour():
    sensor = families({12: 0.3, 4: 0.3, 2: 0.5, 6: 0.4, 8: 0.3, 10: 0.3})
    # 20 log10(0.4 / 0.3) = 2.5 dB
    assert sensor.three_over_four_db == pytest.approx(2.5, abs=1.5)


def test_noise_at_a_fault_orders_place_has_no_level():
    silent = families({})
    assert silent.twice_electrical_db is None
    assert silent.once_electrical_db is None
    assert not silent.usual_heard
    assert families({12: 0.3}).usual_heard
    # without torque ripple or slots, order 4 is held against what the noise leaves room for
    alone = families({4: 0.5})
    assert not alone.usual_heard
    assert alone.twice_electrical_db > 10.0
    assert alone.speeds >= 3


def test_a_panel_that_rings_at_one_speed_is_no_lost_phase():
    # order 4 twenty times louder where it meets 800 Hz (1157 rpm and above), usual elsewhere
    t, speed, turns = staircase()
    motor = RATIO * turns
    ringing = np.where(4 * RATIO * speed / 60.0 > 800.0, 1.0, 0.05)
    x = np.random.default_rng(1).standard_normal(len(t))
    x += 0.3 * np.cos(2 * np.pi * 12 * motor) + ringing * np.cos(2 * np.pi * 4 * motor)
    spectra = spectra_of(sound_of(0.01 * x, RATE), coarse(t, speed, uncertainty_rpm=0.1), 220.0)
    names = family_names(pole_pairs=2, slots=18, commutator_bars=None)
    found = motor_orders(spectra, names, ratio=RATIO, pole_pairs=2, plateaus_rpm=PLATEAUS)
    assert found.twice_electrical_db < 0.0
    loud = families({12: 0.3, 4: 1.0})
    # 20 log10(1.0 / 0.3) = 10.5 dB at every speed
    assert loud.twice_electrical_db == pytest.approx(10.5, abs=2.0)


def test_a_plateau_too_short_for_three_windows_still_tells_the_motors_orders():
    spectra = spectra_of(*unit({12: 0.4, 4: 0.1}), 220.0)
    names = family_names(pole_pairs=2, slots=18, commutator_bars=None)
    found = motor_orders(spectra, names, ratio=RATIO, pole_pairs=2, plateaus_rpm=(777.0,))
    assert found.twice_electrical_db == pytest.approx(-12.0, abs=2.0)


def test_an_odd_multiple_that_is_slot_passing_too_is_no_sign_of_a_sensor():
    spectra = spectra_of(*unit({6: 0.5, 12: 0.3}), 220.0)
    names = family_names(pole_pairs=2, slots=6, commutator_bars=None)
    found = motor_orders(spectra, names, ratio=RATIO, pole_pairs=2, plateaus_rpm=PLATEAUS)
    assert found.once_electrical_db is None


def test_a_carrier_is_the_middle_of_lines_that_move_apart():
    t, _, turns = staircase()
    electrical = 2 * 2 * RATIO * turns
    x = 0.05 * np.cos(2 * np.pi * 3000.0 * t) * np.cos(2 * np.pi * electrical)
    x += 0.01 * np.random.default_rng(0).standard_normal(len(t))
    plateaus = [(0.5, 9.5, 600.0), (13.5, 22.5, 900.0), (26.5, 35.5, 1200.0)]
    sound = sound_of(x, RATE)
    found = carrier(sound, plateaus, electrical_order=4 * RATIO)
    assert found.frequency_hz == pytest.approx(3000.0, abs=8.0)
    steady = sound_of(0.05 * np.cos(2 * np.pi * 3000.0 * t) + 0.01, RATE)
    assert carrier(steady, plateaus, electrical_order=4 * RATIO).frequency_hz is None


def pieces(*of):
    """Points of (time s, drum rpm, slope rpm/s, ratio), each known to 0.1 %."""
    return [
        RatioPoint(
            time_s=time_s,
            speed_rpm=rpm,
            slope_rpm_per_s=slope,
            ratio=Estimate(value=ratio, standard_uncertainty=0.001 * ratio),
        )
        for time_s, rpm, slope, ratio in of
    ]


def test_a_tone_that_stands_while_the_drum_gains_speed_is_no_slip():
    level = pieces((5.0, 600.0, 0.0, 10.0), (40.0, 1200.0, 0.0, 10.0))
    # 187 Hz throughout: 60 * 187 / rpm, from 6.9 % above the ratio down to 2 % above it
    hum = pieces(
        *((20.0 + k, rpm, 17.0, 60 * 187.0 / rpm) for k, rpm in enumerate((1050, 1067, 1084, 1100)))
    )
    assert _slips(level, hum) == ()
    assert _slips(level, hum[:1]) == ()
    # a motor 6 % ahead turns faster as the drum does
    slipping = pieces(*((20.0 + k, rpm, 25.0, 10.6) for k, rpm in enumerate((1000, 1025, 1050))))
    assert len(_slips(level, slipping)) == 3
