"""What a profile's drive lets one expect: the motor's orders, and whole ones without a belt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from spinlab.machine import Motor, load_machine
from spinlab.recording import Recording
from spinlab.speed import track_speed
from spinlab.speed.drive_prior import counted_orders, ratio_prior
from spinlab.speed.shown import Own, with_motor
from spinlab.speed.whole import lattice_evidence
from spinlab.stages import stage_table
from tests.speed.test_moving_evidence import refined_of


def test_a_motor_of_20_magnets_and_24_teeth_is_expected_where_such_a_one_was_measured():
    # Torque of a motor with 20 magnets and 24 teeth: components at the 20th and 24th harmonic of
    # a turn, the strongest at the 48th (a paper on torque ripple, read in a stored copy,
    # th4.ilovetranslation.com/bqxoAyAM2tL=d); magnets and teeth come round together 120 times.
    orders = counted_orders(Motor(kind="direct", pole_pairs=10, slots=24))
    assert {20.0, 24.0, 48.0, 120.0} <= orders


@pytest.mark.parametrize("pairs", [1, 2, 4])
def test_torque_ripple_comes_six_times_per_turn_of_the_supply(pairs):
    # Handbook knowledge of inverter-fed three-phase motors, value from memory.
    orders = counted_orders(Motor(kind="three-phase", pole_pairs=pairs))
    assert {2.0 * pairs, 6.0 * pairs, 12.0 * pairs} <= orders


def test_a_commutator_motor_is_heard_at_its_bars_and_not_at_its_poles():
    # Handbook knowledge, value from memory.
    orders = counted_orders(Motor(kind="brushed", pole_pairs=1, slots=12, commutator_bars=24))
    assert {12.0, 24.0, 48.0} <= orders
    assert not {1.0, 2.0, 6.0} & orders


def test_only_a_motor_on_the_drum_makes_whole_orders_of_it_alone():
    direct, belt = (
        ratio_prior(load_machine(n)) for n in ("direct-drive-1400", "belt-brushed-1400")
    )
    assert direct is not None
    assert belt is not None
    assert direct.on_drum
    assert not belt.on_drum


def best_factor(orders: list[float], near: float = 0.02) -> float:
    factors = np.exp(np.arange(-near, near, 0.0005))
    return float(
        factors[np.argmax(lattice_evidence(refined_of(np.zeros(10), orders=orders), factors))]
    )


@pytest.mark.parametrize(
    ("slots", "pairs"), [(36, 12), (27, 18), (24, 20), (36, 24), (12, 4), (42, 28)]
)
def test_lines_of_three_phase_motors_place_the_drum_to_a_tenth_of_a_percent(slots, pairs):
    # Slots are a multiple of three for each pair of phases to be alike (handbook knowledge, value
    # from memory); the course is off by a percent.
    orders = [slots * 0.99, 6 * pairs * 0.99]
    assert best_factor(orders) == pytest.approx(0.99, rel=1e-3)


def test_a_low_order_is_as_likely_three_as_twelve():
    # Multiples of six are the motor's habit, not the drum's: below them no whole order is favoured.
    low, high = lattice_evidence(refined_of(np.zeros(10), orders=[12.0]), np.array([4.0, 1.0]))
    assert abs(low - high) < 1.0


def test_lines_that_stand_apart_from_the_run_up_prove_nothing():
    log_hz = np.concatenate([np.zeros(20), np.linspace(0.5, 1.2, 40)])
    run = np.repeat([0, 1], (20, 40))
    none = np.zeros(60)
    own = Own(support=none, beating=none, kin=np.zeros((60, 0)), room=np.full(60, 2.0))
    turned = with_motor(own, refined_of(log_hz, orders=[72.0]), run)
    assert not turned.support[:20].any()
    assert (turned.support[20:] > 0).all()


def run_up(rng: np.random.Generator, orders: dict[int, float], slow: float) -> Recording:
    """Tones of a motor on the drum in white noise: 400, 800 and 1000 rpm, `slow` times as fast."""
    rate_hz, hold_s, climb_s = 16_000.0, 8.0, 5.0
    knots = np.cumsum([0.0, hold_s, climb_s, hold_s, climb_s, hold_s])
    t = np.arange(int(knots[-1] * rate_hz)) / rate_hz
    rpm = slow * np.interp(t, knots, [400.0, 400.0, 800.0, 800.0, 1000.0, 1000.0])
    turns = np.cumsum(rpm) / 60.0 / rate_hz
    sound = rng.normal(0.0, 0.05, len(t))
    for order, level in orders.items():
        sound += level * np.cos(2 * np.pi * order * turns + order)
    return Recording(kind="sound", samples=sound[None].astype(np.float32), rate_hz=rate_hz)


@pytest.mark.parametrize("slow", [1.0, 0.995])
def test_a_direct_drive_is_measured_by_its_motors_lines_alone(slow):
    # A model of the sound of its own: tones at the slots (36) and the torque ripple (6 times 12
    # pole pairs) of a usual motor, no beats, no order of the drum below them.
    programme = tuple(p for p in load_machine("direct-drive-1400").programme if p.rpm <= 1000)
    machine = replace(load_machine("direct-drive-1400"), programme=programme)
    recording = run_up(np.random.default_rng(3), {36: 0.01, 72: 0.02, 144: 0.01}, slow)
    table = stage_table(track_speed(recording, machine), machine)
    found = [s.speed_rpm for s in table.stages if s.speed_rpm is not None]
    assert found == pytest.approx([400.0 * slow, 800.0 * slow, 1000.0 * slow], rel=3e-3)


def test_a_tolerance_of_the_ratio_says_nothing_where_there_is_no_belt():
    # A profile may state one all the same: the drum turns with a motor that sits on it.
    direct = load_machine("direct-drive-1400")
    loose = replace(direct, drum_to_motor_ratio_tolerance_percent=5.0)
    assert ratio_prior(loose) == ratio_prior(direct)
    recording = run_up(np.random.default_rng(3), {36: 0.01, 72: 0.02, 144: 0.01}, 1.0)
    assert track_speed(recording, loose).motor_ratio is None
