"""`spinlab calc` prints worked values with their units and limits."""

import pytest
from click.testing import CliRunner
from spinlab_cli.calc import calc_command, collect_readings

from spinlab.errors import InputError


def run(*arguments):
    return CliRunner().invoke(calc_command, list(arguments), catch_exceptions=False).output


@pytest.mark.parametrize(
    ("arguments", "expected"),
    # worked values: ISO 21940-11 definition, m r omega^2, Ohm's law (see tests/test_reference.py)
    [
        ("unbalance --grade 6.3 --rotor-kg 30 --speed-rpm 1400", "1289.2 g mm"),
        ("unbalance --grade 6.3 --rotor-kg 10 --speed-rpm 3000", "20.05 um"),
        ("grade --unbalance-g-mm 1289.2 --rotor-kg 30 --speed-rpm 1400", "G 6.3"),
        ("force --mass-kg 0.3 --radius-m 0.24 --speed-rpm 1200", "1137 N"),
        ("rim --radius-m 0.24 --speed-rpm 1400", "526 g"),
        ("heater --rated-w 2000 --rated-v 230", "26.45 ohm"),
        ("heater --rated-w 2000 --rated-v 230 --voltage-v 240", "9.07 A"),
        ("zone --velocity-mm-s 3.2 --machine-class II", "C of A to D"),
        ("order --speed-rpm 1400", "23.3333 Hz"),
    ],
)
def test_a_calculator_prints_the_worked_value_with_its_unit(arguments, expected):
    assert expected in run(*arguments.split())


def test_the_zone_says_that_an_appliance_is_out_of_scope():
    assert "not a household appliance" in run("zone", "--velocity-mm-s", "3")


def test_a_negative_speed_is_an_input_error():
    with pytest.raises(InputError, match="speed_rpm must be a number above zero"):
        run("rim", "--radius-m", "0.24", "--speed-rpm", "-1")


def test_readings_come_from_a_file_and_from_the_line_in_this_order(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("rpm,W\n800,190\n")
    found = collect_readings(path, ["1200rpm 300W"])
    assert [reading.power_w for reading in found] == [190.0, 300.0]


def test_no_readings_are_no_readings():
    assert collect_readings(None, ()) == ()
