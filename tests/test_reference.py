"""Calculators against worked values; the source stands beside each."""

import math

import pytest

from spinlab import reference
from spinlab.errors import InputError


def test_grade_6_3_at_3000_rpm_permits_20_054_um():
    # ISO 21940-11: e_per = G / Omega, worked by hand: 6.3 / (2 pi 50) mm
    assert reference.permissible_eccentricity_um(6.3, 3000.0) == pytest.approx(20.054, abs=1e-3)


@pytest.mark.parametrize(
    ("mass_kg", "speed_rpm", "unbalance_g_mm"),
    # computed from the definition of ISO 21940-11 outside this project
    [(10.0, 3000.0, 200.5), (30.0, 1400.0, 1289.2)],
)
def test_grade_6_3_permits_the_worked_residual_unbalance(mass_kg, speed_rpm, unbalance_g_mm):
    found = reference.permissible_unbalance_g_mm(6.3, speed_rpm, rotor_mass_kg=mass_kg)
    assert found == pytest.approx(unbalance_g_mm, abs=0.1)


def test_residual_unbalance_leads_back_to_its_grade():
    found = reference.balance_grade_mm_s(1289.2, 1400.0, rotor_mass_kg=30.0)
    assert found == pytest.approx(6.3, rel=1e-4)


def test_a_grade_between_two_steps_counts_as_the_coarser_one():
    # ISO 21940-11 table 1 (values from memory): ..., 2.5, 6.3, 16, ...
    assert reference.next_standard_grade_mm_s(6.3) == 6.3
    assert reference.next_standard_grade_mm_s(6.31) == 16.0
    assert reference.next_standard_grade_mm_s(5000.0) is None


def test_300_g_at_240_mm_pull_with_1137_n_at_1200_rpm():
    # m r omega^2, computed outside this project
    assert reference.centrifugal_force_n(0.3, 0.24, 1200.0) == pytest.approx(1137.0, abs=1.0)


def test_the_rim_of_a_480_mm_drum_sees_526_g_at_1400_rpm():
    # r omega^2 / 9.80665, computed outside this project
    assert reference.rim_acceleration_g(0.24, 1400.0) == pytest.approx(526.0, abs=1.0)


@pytest.mark.parametrize(
    ("velocity", "machine_class", "letter"),
    [
        # limits of ISO 10816-1 annex B, value from memory: I 0.71/1.8/4.5, II 1.12/2.8/7.1
        (0.70, "I", "A"),
        (0.72, "I", "B"),
        (1.9, "I", "C"),
        (4.6, "I", "D"),
        (1.10, "II", "A"),
        (2.9, "II", "C"),
        (7.2, "II", "D"),
        (3.2, "II", "C"),  # a public zone calculator's worked example
    ],
)
def test_a_velocity_falls_into_the_zone_of_its_class(velocity, machine_class, letter):
    found = reference.zone(velocity, machine_class)
    assert found.letter == letter
    assert "not a household appliance" in found.scope


def test_a_2_kw_element_for_230_v_has_26_5_ohm_and_draws_8_7_a():
    # Ohm's law, worked by hand
    load = reference.heater_load(2000.0, 230.0)
    assert load.resistance_ohm == pytest.approx(26.45, abs=0.005)
    assert load.current_a == pytest.approx(8.696, abs=0.001)


def test_the_same_element_at_240_v_draws_about_9_a():
    # trade observation "about 9 A on 240 V": common practice, no published source
    load = reference.heater_load(2000.0, 230.0, voltage_v=240.0)
    assert load.current_a == pytest.approx(9.07, abs=0.01)
    assert load.power_w == pytest.approx(load.current_a * 240.0)


@pytest.mark.parametrize(
    ("rpm", "hertz"),
    [(400, 6.6667), (800, 13.3333), (1000, 16.6667), (1200, 20.0), (1400, 23.3333)],
)
def test_first_order_frequencies_of_the_usual_plateaus(rpm, hertz):
    assert reference.order_frequency_hz(1, rpm) == pytest.approx(hertz, abs=1e-4)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_value_that_is_no_positive_number_is_named_in_the_message(bad):
    with pytest.raises(InputError, match="speed_rpm must be a number above zero"):
        reference.rim_acceleration_g(0.24, bad)
