"""Supply and heater against Ohm's law worked by hand."""

import pytest

from spinlab.meter import (
    Reading,
    heater_readings,
    parse_reading,
    power_factors,
    source_impedance,
)


def test_power_factor_is_real_over_apparent_power():
    (found,) = power_factors([parse_reading("1200rpm 238V 1.6A 300W")])
    assert found.apparent_power_va == pytest.approx(380.8)
    assert found.factor.value == pytest.approx(0.7878, abs=1e-4)


def test_a_reading_without_all_three_has_no_power_factor():
    assert power_factors([parse_reading("230V 2A"), parse_reading("300W")]) == ()


def test_a_power_factor_above_one_lies_beyond_what_the_meter_can_be_off():
    (found,) = power_factors([parse_reading("230V 1.0A 300W")])
    assert found.factor.value - 2 * found.factor.standard_uncertainty > 1.0


def test_a_drop_of_7_v_at_8_6_a_is_a_source_of_0_81_ohm():
    # Ohm's law by hand: 7 V / 8.6 A = 0.814 ohm; 7 / 240 = 2.9 %
    found = source_impedance([parse_reading("240V 0A"), parse_reading("233V 8.6A")])
    assert found.ohm.value == pytest.approx(0.814, abs=0.001)
    assert found.drop_percent.value == pytest.approx(2.917, abs=0.001)
    assert 0.0 < found.ohm.standard_uncertainty < 0.15


def test_without_a_load_step_the_source_is_not_measurable():
    assert "two different loads" in source_impedance([parse_reading("240V 1A")]).reason
    same = source_impedance([parse_reading("240V 1.0A"), parse_reading("239V 1.5A")])
    assert same.ohm is None
    assert "differ by 0.5 A" in same.reason


def test_an_element_of_2_kw_for_230_v_reads_26_45_ohm():
    (found,) = heater_readings(
        [parse_reading("heat 240V 9.07A")], rated_power_w=2000.0, rated_voltage_v=230.0
    )
    assert found.expected_ohm == pytest.approx(26.45)
    assert found.expected_current_a == pytest.approx(9.074, abs=1e-3)
    assert found.ratio.value == pytest.approx(1.0, abs=0.001)
    assert found.ratio.standard_uncertainty < 0.03


def test_no_current_leaves_no_resistance():
    (found,) = heater_readings(
        [parse_reading("heat 240V 0A")], rated_power_w=2000.0, rated_voltage_v=230.0
    )
    assert found.resistance_ohm is None


def test_ohms_read_with_the_plug_pulled_count_as_they_are():
    (found,) = heater_readings([Reading(resistance_ohm=27.0)])
    assert found.resistance_ohm.value == 27.0
    assert found.expected_ohm is None


def test_readings_of_the_spin_are_not_the_heater():
    assert heater_readings([parse_reading("1200rpm 238V 1.6A 300W")]) == ()
