"""The command `spinlab simulate`."""

import json

import pytest
from click.testing import CliRunner
from spinlab_cli.simulate import simulate_command

from spinlab.errors import InputError
from spinlab.simulate import scenario_names

TINY = """
[[programme]]
kind = "spin"
rpm = 500
rise_rpm_per_s = 250
hold_s = 2
[drive]
arcing = 0.5
[phone]
rate_hz = 8000
"""


@pytest.fixture
def tiny(tmp_path):
    path = tmp_path / "tiny.toml"
    path.write_text(TINY)
    return path


def test_it_lists_every_scenario_with_a_sentence():
    shown = CliRunner().invoke(simulate_command, ["--list"])
    assert shown.exit_code == 0
    lines = shown.output.strip().splitlines()
    assert [line.split()[0] for line in lines] == list(scenario_names())
    assert max(len(line) for line in lines) < 110


def test_it_writes_the_recording_and_its_truth(tmp_path, tiny):
    out = tmp_path / "out"
    shown = CliRunner().invoke(simulate_command, [str(tiny), "--out", str(out), "--seed", "4"])
    assert shown.exit_code == 0, shown.output
    assert sorted(path.name for path in out.iterdir()) == ["tiny-4.flac", "tiny-4.truth.json"]
    assert json.loads((out / "tiny-4.truth.json").read_text())["seed"] == 4
    assert "motor: brush arcing" in shown.output
    assert "simulated" in shown.output


def test_the_same_seed_writes_the_same_bytes(tmp_path, tiny):
    for folder in ("a", "b"):
        CliRunner().invoke(simulate_command, [str(tiny), "--out", str(tmp_path / folder)])
    for name in ("tiny-1.flac", "tiny-1.truth.json"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_an_unknown_scenario_is_bad_input(tmp_path):
    shown = CliRunner().invoke(simulate_command, ["helthy", "--out", str(tmp_path)])
    assert isinstance(shown.exception, InputError)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("arguments", [[], ["healthy"]])
def test_a_missing_argument_is_a_usage_error(arguments):
    assert CliRunner().invoke(simulate_command, arguments).exit_code == 2
