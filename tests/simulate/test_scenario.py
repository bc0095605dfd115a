"""Scenarios by name and from TOML files."""

import pytest

from spinlab.errors import InputError
from spinlab.simulate import load_scenario, parse_scenario, scenario_names
from spinlab.simulate.bounds import check_parameters
from spinlab.simulate.parameters import Parameters
from spinlab.simulate.simulator import spin_test


@pytest.mark.parametrize("name", scenario_names())
def test_every_shipped_scenario_loads_says_what_it_is_and_makes_sense(name):
    p = load_scenario(name)
    assert p.name == name
    assert len(p.description) > 15
    from dataclasses import replace

    check_parameters(p if p.programme else replace(p, programme=spin_test()), 0)


def test_the_named_faults_are_there():
    wanted = {
        "worn-rear-bearing": "bearing: rear drum, outer",
        "inner-race": "bearing: rear drum, inner",
        "ball": "bearing: rear drum, ball",
        "grinding": "bearing: rear drum, grinding",
        "motor-bearing": "bearing: motor drive end, outer",
        "unbalanced": "imbalance",
        "slipping-belt": "belt: slip",
        "lost-phase": "motor: lost phase",
        "bad-hall-sensor": "motor: position sensor",
        "arcing-brushes": "motor: brush arcing",
        "worn-damper": "suspension",
        "loose-counterweight": "looseness: counterweight",
        "wash-one-direction-dead": "motor: dead direction",
    }
    for name, fault in wanted.items():
        assert load_scenario(name).faults[fault] > 0.3, name


@pytest.mark.parametrize(
    "name", ["healthy", "healthy-three-phase", "healthy-direct-drive", "speech-and-pump", "lid-log"]
)
def test_healthy_scenarios_have_no_fault(name):
    assert load_scenario(name).faults == {}


def test_a_file_states_only_what_differs():
    p = parse_scenario("[drive]\nratio = 9\n", where="mine.toml", name="mine")
    assert p.drive.ratio == 9.0
    assert p.tub == Parameters().tub


def test_a_path_is_read_and_names_the_scenario(tmp_path):
    path = tmp_path / "unit 7.toml"
    path.write_text('kind = "acceleration"\n[logger]\ntilt_deg = [10, 20]\n')
    p = load_scenario(path)
    assert (p.name, p.kind, p.logger.tilt_deg) == ("unit 7", "acceleration", (10.0, 20.0))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[drive]\nratoi = 9\n", "drive.ratoi is no known key; did you mean ratio"),
        ('[drive]\nkind = "steam"\n', "drive.kind is 'steam'; use brushed, three_phase, direct"),
        ('[drive]\nratio = "nine"\n', "drive.ratio is 'nine'; it must be a number"),
        ("[drive]\npole_pairs = 1.5\n", "pole_pairs is 1.5; it must be a whole number"),
        ("[drive]\nratio = true\n", "drive.ratio is True; it must be a number"),
        ("drive = 3\n", "drive must be a table"),
        ("[surroundings]\npump_on_s = [1]\n", "pump_on_s must hold 2 numbers"),
        ("[surroundings]\nclick_times_s = 4\n", "must be a list in square brackets"),
        ("[[programme]]\nrpm = 3\n", r"programme\[0\] lacks .*kind"),
        ("ratio = = 3\n", "no valid TOML"),
    ],
)
def test_a_slip_in_a_file_is_named_with_its_place(text, message):
    with pytest.raises(InputError, match=message):
        parse_scenario(text, where="mine.toml", name="mine")


def test_an_unknown_name_gets_a_guess():
    with pytest.raises(InputError, match="did you mean healthy"):
        load_scenario("helthy")


def test_a_missing_or_odd_file_is_said(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        load_scenario(tmp_path / "no.toml")
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        load_scenario(odd)
    odd.write_bytes(b"#" * 2_000_000)
    with pytest.raises(InputError, match="too large"):
        load_scenario(odd)
