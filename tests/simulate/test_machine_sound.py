"""The sound of the machine: each source follows the angle that it belongs to."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.simulate.belt_sound import belt_passing, squeal
from spinlab.simulate.knocking import coin, counterweight, tub_strikes
from spinlab.simulate.machine_sound import broadband, drum_orders, modulated_band, slosh
from spinlab.simulate.motor_sound import brushes, motor
from spinlab.simulate.parameters import Belt, Drive, Loose, NoiseBand, Step
from spinlab.simulate.suspension import shake
from spinlab.simulate.waves import read_wave, wave_table
from tests.simulate.machines import BALANCED, MUTE, QUIET, SMOOTH_DRUM, heard_by, smooth, spin
from tests.simulate.measures import band, decibels, line_amplitude, rms

RATE_HZ = 16000.0
THREE_PHASE = Drive(
    kind="three_phase",
    ratio=10.0,
    pole_pairs=2,
    slots=0,
    commutator_bars=0,
    mains_torque_share=0.0,
)


def plateau(p, rate_hz=RATE_HZ, settle_s=3.0):
    """Sample instants of a machine, and which of them lie on its settled plateau."""
    base = heard_by(p, rate_hz=rate_hz)
    return base, base.time_s > base.time_s[-1] - p.programme[-1].hold_s + settle_s


def strongest_order(sound, turns, orders):
    """Among `orders`, the one whose line is strongest."""
    return orders[int(np.argmax([line_amplitude(sound, turns, order) for order in orders]))]


def test_a_wave_table_holds_the_orders_that_it_was_given():
    table = wave_table({3: 1.0, 7: 0.5}, np.random.default_rng(0))
    turns = np.arange(20000) * 0.00137
    wave = read_wave(table, turns[:18250])  # whole turns: 25
    total = np.sqrt(1.0**2 + 0.5**2)
    assert line_amplitude(wave, turns[:18250], 3) == pytest.approx(np.sqrt(2) / total, rel=0.01)
    assert line_amplitude(wave, turns[:18250], 7) == pytest.approx(np.sqrt(0.5) / total, rel=0.01)
    assert line_amplitude(wave, turns[:18250], 5) < 1e-3


def test_a_commutator_motor_sings_at_its_bars():
    drive = Drive(commutator_bars=24, slots=0, mains_torque_share=0.0)
    p = smooth(*spin(600.0, hold_s=8.0), drive=drive, voice=replace(MUTE, motor_db=0.0))
    base, late = plateau(p)
    sound = motor(p, base)[late]
    assert strongest_order(sound, base.motor_turns[late], list(range(4, 60))) in (24, 48)


def test_three_phase_torque_ripples_at_six_times_the_pole_pairs():
    # Torque ripple at 6 k times the electrical frequency (handbook; value from memory).
    p = smooth(*spin(600.0, hold_s=8.0), drive=THREE_PHASE, voice=replace(MUTE, motor_db=0.0))
    base, late = plateau(p)
    sound = motor(p, base)[late]
    assert strongest_order(sound, base.motor_turns[late], list(range(5, 60))) in (12, 24, 36)


def test_a_lost_phase_growls_at_twice_the_electrical_frequency():
    voice = replace(MUTE, motor_db=0.0)
    rises = []
    for lost in (0.0, 1.0):
        drive = replace(THREE_PHASE, lost_phase=lost)
        p = smooth(*spin(900.0, hold_s=8.0), drive=drive, voice=voice)
        base, late = plateau(p)
        sound = motor(p, base)[late]
        rises.append(line_amplitude(sound, base.motor_turns[late], 4))
    assert decibels(rises[1] / rises[0]) > 12.0


def test_a_bad_position_sensor_adds_orders_that_the_healthy_motor_lacks():
    voice = replace(MUTE, motor_db=0.0)
    rises = []
    for error in (0.0, 1.0):
        drive = replace(THREE_PHASE, hall_error=error)
        p = smooth(*spin(900.0, hold_s=8.0), drive=drive, voice=voice)
        base, late = plateau(p)
        sound = motor(p, base)[late]
        rises.append(line_amplitude(sound, base.motor_turns[late], 6))
    assert rises[1] > 10.0 * rises[0]


def test_mains_torque_puts_sidebands_at_twice_the_mains_around_the_motor():
    drive = Drive(commutator_bars=24, slots=0, mains_torque_share=0.5)
    dragged = replace(SMOOTH_DRUM, viscous_nm_s=0.03)
    voice = replace(MUTE, motor_db=0.0)
    p = smooth(*spin(600.0, hold_s=10.0), drive=drive, voice=voice, drum=dragged)
    base, late = plateau(p)
    sound = motor(p, base)[late]
    for side in (-100.0, 100.0):
        turns = base.motor_turns[late] * 24 + side * base.time_s[late]
        beside = base.motor_turns[late] * 24 + (side + 7.3) * base.time_s[late]
        assert line_amplitude(sound, turns, 1) > 5.0 * line_amplitude(sound, beside, 1)


def test_arcing_brushes_crackle_at_the_peaks_of_the_mains():
    p = smooth(*spin(1200.0, hold_s=6.0), drive=Drive(arcing=1.0))
    base, late = plateau(p)
    healthy = smooth(*spin(1200.0, hold_s=6.0), drive=Drive())
    crackle, hiss = brushes(p, base)[late], brushes(healthy, base)[late]
    assert rms(crackle) > 2.0 * rms(hiss)
    assert np.mean(crackle.astype(float) ** 4) / rms(crackle) ** 4 > 6.0
    power = crackle.astype(float) ** 2
    twice = line_amplitude(power, base.time_s[late], 100.0) / power.mean()
    assert twice > 0.5  # sin^2 gating alone gives 1


@pytest.mark.parametrize("index", [0.05, 0.2, 0.4])
def test_modulated_noise_has_the_envelope_that_its_index_says(index):
    # Noise times (1 + m cos a): mean power over the angle is proportional to (1 + m cos a)^2,
    # whose first harmonic over its mean is 2 m / (1 + m^2 / 2).
    p = smooth(*spin(1200.0, hold_s=40.0))
    base, late = plateau(p)
    part = NoiseBand(centre_hz=3000.0, width_octaves=1.5, level_db=0.0, index=index)
    power = modulated_band(part, "band", base)[late].astype(float) ** 2
    first = line_amplitude(power, base.turns[late], 1) / power.mean()
    assert first == pytest.approx(2.0 * index / (1.0 + index**2 / 2.0), rel=0.15, abs=0.012)


def test_modulation_is_not_clean_its_depth_and_strength_drift():
    p = smooth(*spin(1200.0, hold_s=40.0))
    base, late = plateau(p)
    part = NoiseBand(centre_hz=3000.0, width_octaves=1.5, level_db=0.0, index=0.3)
    power = modulated_band(part, "band", base)[late].astype(float) ** 2
    wave = power * np.exp(-2j * np.pi * base.turns[late])
    pieces = np.abs([np.mean(piece) for piece in np.array_split(wave, 20)])
    assert np.std(pieces) / np.mean(pieces) > 0.08


def test_broadband_noise_carries_no_trace_of_the_drums_angle():
    p = smooth(*spin(1200.0, hold_s=20.0), voice=replace(MUTE, turbulence=0.15))
    base, late = plateau(p)
    power = broadband(p, base)[late].astype(float) ** 2
    assert line_amplitude(power, base.turns[late], 1) / power.mean() < 0.03


def test_the_machines_noise_is_one_unit_at_1200_rpm_and_grows_as_its_exponent_says():
    levels = {}
    for rpm in (600.0, 1200.0):
        p = smooth(*spin(rpm, hold_s=6.0), voice=replace(MUTE, noise_exponent=2.0))
        base, late = plateau(p)
        levels[rpm] = rms(band(broadband(p, base), RATE_HZ, 100.0, 7000.0)[late])
    assert levels[1200.0] == pytest.approx(1.0, rel=0.1)
    assert levels[1200.0] / levels[600.0] == pytest.approx(4.0, rel=0.05)


def test_drum_orders_are_heard_through_panels_and_hardly_at_the_drums_own_rate():
    p = smooth(*spin(1200.0, hold_s=8.0), voice=replace(MUTE, drum_orders_db=0.0))
    base, late = plateau(p)
    sound = drum_orders(p, base)[late]
    lines = np.array([line_amplitude(sound, base.turns[late], k) for k in range(1, 16)])
    between = max(line_amplitude(sound, base.turns[late], k + 0.5) for k in range(1, 15))
    assert lines.max() > 10.0 * between
    assert lines[0] < 0.2 * lines.max()


def test_the_belt_passes_pi_d_over_l_times_per_turn():
    belt = Belt(length_m=1.2, drum_pulley_m=0.29, defect=1.0)
    p = smooth(*spin(1200.0, hold_s=10.0), belt=belt, voice=replace(MUTE, belt_db=0.0))
    base, late = plateau(p)
    sound = belt_passing(p, base)[late]
    order = np.pi * 0.29 / 1.2
    on = [line_amplitude(sound, base.turns[late], k * order) for k in range(5, 15)]
    off = [line_amplitude(sound, base.turns[late], (k + 0.5) * order) for k in range(5, 15)]
    assert max(on) > 20.0 * max(off)


def test_a_belt_squeals_only_while_it_slips():
    slack = Belt(capacity_nm=2.0, creep_at_capacity=0.03, squeal=1.0)
    p = smooth(*spin(600.0, hold_s=8.0), belt=slack)
    base, _ = plateau(p)
    cry = squeal(p, base)
    slipping = base.creep > 0.06
    assert rms(cry[slipping]) > 0.5
    assert rms(cry[base.creep < 0.02]) == 0.0


def test_a_worn_suspension_knocks_as_the_tub_passes_its_resonance():
    p = smooth(*spin(800.0, rise=25.0), unbalance=replace(BALANCED, mass_kg=0.4))
    worn = replace(p, tub=replace(p.tub, damping_ratio=0.02, friction_n=2.0))
    knocks = {}
    for name, machine in (("sound", p), ("worn", worn)):
        motion = heard_by(machine).motion
        events = tub_strikes(machine, shake(machine, motion), np.random.default_rng(0))
        knocks[name] = 60.0 * np.interp(events.time_s, motion.time_s, motion.rate_hz)
    assert len(knocks["sound"]) == 0
    assert len(knocks["worn"]) > 5
    # Its resonances stand at 2.6 and 3.4 Hz: 156 and 204 turns a minute; it rings on a while.
    assert knocks["worn"].min() > 120.0
    assert np.median(knocks["worn"]) < 300.0


def test_a_loose_counterweight_strikes_about_once_per_turn():
    p = smooth(*spin(900.0, hold_s=10.0), loose=Loose(counterweight=1.0))
    base, _ = plateau(p)
    events = counterweight(p, base, np.random.default_rng(0))
    turns = np.interp(events.time_s, base.motion.time_s, base.motion.turns) - base.motion.turns[0]
    assert len(events.time_s) / turns[-1] == pytest.approx(1.15, rel=0.1)
    assert abs(np.mean(np.exp(2j * np.pi * turns))) > 0.7


def test_a_coin_falls_silent_once_the_drum_holds_it_by_centrifugal_force():
    # w^2 r > g: 61 rpm at 0.24 m.
    p = smooth(Step(kind="tumble", rpm=45.0, hold_s=10.0), *spin(400.0), loose=Loose(coin=1.0))
    base, _ = plateau(p)
    events = coin(p, base, np.random.default_rng(0))
    rpm = 60.0 * np.interp(events.time_s, base.motion.time_s, base.motion.rate_hz)
    critical = 60.0 / (2.0 * np.pi) * np.sqrt(9.80665 / 0.24)
    assert np.all(events.strength[rpm > critical * 1.001] == 0.0)
    assert np.all(events.strength[(rpm > 5.0) & (rpm < critical * 0.999)] > 0.0)


def test_water_is_heard_in_the_wash_and_not_in_the_spin():
    voice = replace(MUTE, slosh_db=0.0)
    p = smooth(Step(kind="tumble", rpm=45.0, hold_s=6.0), *spin(800.0), voice=voice)
    base, late = plateau(p)
    wet = slosh(p, base)
    assert rms(wet[late]) < 0.001 * rms(wet[(base.time_s > 2.0) & (base.time_s < 6.0)])


def test_a_carrier_near_eight_kilohertz_shows_with_sidebands_of_the_motor():
    drive = replace(THREE_PHASE, carrier_hz=6000.0)
    voice = replace(MUTE, motor_db=0.0)
    p = smooth(*spin(600.0, hold_s=8.0), drive=drive, voice=voice, surroundings=QUIET)
    base, late = plateau(p)
    sound = motor(p, base)[late]
    electrical = 2.0 * drive.pole_pairs * base.motor_turns[late]
    side = 6000.0 * base.time_s[late] + electrical
    beside = 6000.0 * base.time_s[late] + 1.07 * electrical
    assert line_amplitude(sound, side, 1) > 10.0 * line_amplitude(sound, beside, 1)
