"""The demo recordings: whole, small, honest, and made anew by their one command."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

import spinlab
from recordings_demo.make import HERE, SEEDS, make
from spinlab.machine import load_machine

RECORDINGS = {
    path.stem: path
    for path in HERE.iterdir()
    if path.suffix in {".flac", ".m4a", ".ogg", ".3gp", ".csv"}
}


def truth_of(name):
    return json.loads((HERE / f"{name}.truth.json").read_text())


def test_each_unit_has_its_recording_and_its_truth():
    assert set(RECORDINGS) == set(SEEDS)
    for name in SEEDS:
        assert (HERE / f"{name}.truth.json").is_file()


def test_all_of_it_stays_small():
    size = sum(path.stat().st_size for path in HERE.rglob("*") if path.is_file())
    assert size < 12_000_000


def test_the_readme_names_every_recording_and_says_that_all_is_invented():
    text = (HERE / "README.md").read_text()
    for path in RECORDINGS.values():
        assert f"`{path.name}`" in text
    assert "Everything here is invented" in text
    for profile in re.findall(r"profiles/[\w-]+\.toml", text):
        assert load_machine(HERE / profile).programme


@pytest.mark.parametrize("name", sorted(SEEDS))
def test_a_recording_reads_and_lasts_as_long_as_its_truth(name):
    recording, truth = spinlab.read(RECORDINGS[name]), truth_of(name)
    assert "simulated" in truth["note"]
    assert recording.end_s == pytest.approx(truth["time_s"][-1], abs=0.1)
    wanted = "acceleration" if RECORDINGS[name].suffix == ".csv" else "sound"
    assert recording.kind == wanted


def test_each_demo_shows_what_its_name_says():
    assert truth_of("healthy")["faults"] == {}
    top = truth_of("stage-missed")["stages"][-1]
    assert (top["expected_rpm"], top["reached"]) == (1400.0, False)
    assert top["speed_rpm"] == pytest.approx(1330.0, abs=3.0)
    assert len(truth_of("gives-up-and-retries")["retries"]) == 2
    assert truth_of("speech-and-pump")["snr_db"] == 6.0
    assert truth_of("worn-rear-bearing")["faults"] == {"bearing: rear drum, outer": 0.7}
    assert truth_of("unbalanced")["faults"]["imbalance"] > 0.5


def test_the_command_makes_the_committed_file_again(tmp_path: Path):
    # Other processors and numerical libraries round otherwise, and the drum's course carries that
    # on: the same motion, not the same bytes.  In the coast-down nothing holds the drum to a speed,
    # and what is left there of the difference, up to a tenth of a turn, is held by the speed alone.
    (path,) = make(tmp_path, ("lid-log",))
    old, new = (np.loadtxt(p, delimiter=",", skiprows=1) for p in (RECORDINGS["lid-log"], path))
    np.testing.assert_array_equal(new[:, 0], old[:, 0])
    driven = old[:, 0] < truth_of("lid-log")["stages"][-1]["end_s"]
    old, new = old[driven, 1:], new[driven, 1:]
    assert ((new - old).std(axis=0) < 0.05 * old.std(axis=0)).all()
    again = json.loads((tmp_path / "lid-log.truth.json").read_text())
    np.testing.assert_allclose(again["speed_rpm"], truth_of("lid-log")["speed_rpm"], atol=0.5)
