"""What the technician types is understood, and what makes no sense is refused in a sentence."""

import pytest

from spinlab.errors import InputError
from spinlab.meter import CAUTION, MeterAccuracy, Reading, load_readings, parse_reading


def test_a_typed_line_becomes_numbers_with_units():
    assert parse_reading("1200rpm 238V 1.6A 300W") == Reading(
        speed_rpm=1200.0, voltage_v=238.0, current_a=1.6, power_w=300.0
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("heat 238 V 8,6 A", Reading(label="heat", voltage_v=238.0, current_a=8.6)),
        ("1400 rpm 0.33kW", Reading(speed_rpm=1400.0, power_w=330.0)),
        ("850mA 2:05", Reading(current_a=0.85, time_s=125.0)),
        ("1:02:05 230V", Reading(voltage_v=230.0, time_s=3725.0)),
        ("heater 26.4 ohm", Reading(label="heater", resistance_ohm=26.4)),
        ("heater 26,4\u03a9", Reading(label="heater", resistance_ohm=26.4)),
        ("heater 26,4\u2126", Reading(label="heater", resistance_ohm=26.4)),
        ("drain pump 30W", Reading(label="drain pump", power_w=30.0)),
    ],
)
def test_units_decimal_commas_clock_times_and_labels_are_understood(text, expected):
    assert parse_reading(text) == expected


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("1200rpm", "no volts, amperes, watts or ohms"),
        ("", "no volts, amperes, watts or ohms"),
        ("300W 310W", "power_w is given twice"),
        ("300 horses", "unknown unit 'horses'"),
        ("1200rpm 300", "a number without a unit"),
        ("14000rpm 300W", "rpm of the drum, not of the motor"),
        ("2300V", "outside 0 to 500"),
        ("-5W", "outside 0 to 12000"),
    ],
)
def test_a_slip_of_the_pen_is_named(text, complaint):
    with pytest.raises(InputError, match=complaint):
        parse_reading(text)


def test_a_table_with_semicolons_and_decimal_commas_loads(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("﻿stage;rpm;V;A;W\nspin;1200;238,5;1,6;300\nheat;;236;8,9;\n", "utf-8")
    assert load_readings(path) == (
        Reading(label="spin", speed_rpm=1200.0, voltage_v=238.5, current_a=1.6, power_w=300.0),
        Reading(label="heat", voltage_v=236.0, current_a=8.9),
    )


def test_a_toml_file_holds_typed_lines_and_tables(tmp_path):
    path = tmp_path / "notes.toml"
    path.write_text('readings = ["800rpm 190W"]\n[[reading]]\nlabel = "heat"\nvoltage_v = 236\n')
    assert load_readings(path) == (
        Reading(speed_rpm=800.0, power_w=190.0),
        Reading(label="heat", voltage_v=236.0),
    )


@pytest.mark.parametrize(
    ("name", "text", "complaint"),
    [
        ("a.csv", "", "holds no reading"),
        ("a.csv", "speed,power\n1,2\n", "unknown column 'speed'"),
        ("a.csv", "rpm,W\n800,lots\n", "'lots' is not a number"),
        ("a.toml", "readings = [", "not valid TOML"),
        ("a.toml", "[[reading]]\nwatts = 3\n", "unknown key 'watts'"),
    ],
)
def test_a_file_that_makes_no_sense_is_refused_in_a_sentence(tmp_path, name, text, complaint):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(InputError, match=complaint):
        load_readings(path)


def test_a_missing_or_binary_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="cannot be read as text"):
        load_readings(tmp_path / "none.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(InputError, match="cannot be read as text"):
        load_readings(tmp_path / "b.csv")


def test_a_meter_of_two_percent_and_two_watts_has_its_rectangular_uncertainty():
    # JCGM 100:2008, 4.3.7: half-width a gives a / sqrt(3); here (0.02 * 300 + 2) / sqrt(3)
    assert MeterAccuracy().standard_uncertainty(300.0, 2.0) == pytest.approx(4.6188, abs=1e-4)


def test_the_caution_names_mains_charge_plug_and_heat():
    for word in ("mains", "capacitors", "plug pulled", "water", "maker's instructions"):
        assert word in CAUTION
