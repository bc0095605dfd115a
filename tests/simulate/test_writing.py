"""Simulated files, and their truth beside them."""

import json
import os
from dataclasses import replace

import numpy as np
import pytest

import spinlab
from spinlab.errors import OutputError
from spinlab.simulate import Parameters, simulate, spin_test, write_simulated
from spinlab.simulate import writing as writing_module
from spinlab.simulate.parameters import Phone

SHORT = spin_test((600.0,), hold_s=2.0, rise_rpm_per_s=250.0, distribution_s=0.5, coast_s=1.0)
PLAIN = Parameters(programme=SHORT, phone=Phone(rate_hz=16000))


@pytest.mark.parametrize("sound_format", ["wav", "flac"])
def test_sound_comes_back_from_the_file_bit_by_bit(tmp_path, sound_format):
    made = simulate(PLAIN, 1)
    path, _ = write_simulated(made, tmp_path / "new", "unit", sound_format=sound_format)
    again = spinlab.read(path)
    assert path.name == f"unit.{sound_format}"
    assert again.rate_hz == 16000.0
    np.testing.assert_array_equal(again.samples, made.recording.samples)


@pytest.mark.parametrize(
    ("codec", "rate_hz", "suffix"),
    [
        ("aac", 44100, ".m4a"),
        ("opus", 48000, ".ogg"),
        ("mp3", 44100, ".mp3"),
        ("amr", 8000, ".3gp"),
    ],
)
def test_a_lossy_file_plays_on_the_truths_clock(tmp_path, codec, rate_hz, suffix):
    p = replace(PLAIN, phone=Phone(rate_hz=rate_hz, codec=codec, bit_rate=48000))
    made = simulate(p, 1)
    path, _ = write_simulated(made, tmp_path, "unit")
    assert path.suffix == suffix
    again = spinlab.read(path)
    first = round(4.0 * rate_hz)
    size, reach = rate_hz, round(0.05 * rate_hz)
    piece = made.recording.samples[0, first : first + size]
    offset = round(again.start_s * rate_hz)
    wide = again.samples[0, first - offset - reach : first - offset + size + reach]
    match = [float(wide[k : k + size] @ piece) for k in range(0, 2 * reach)]
    assert abs(int(np.argmax(match)) - reach) / rate_hz < 0.002


def test_a_log_reads_back_as_acceleration_with_its_rate(tmp_path):
    made = simulate(replace(PLAIN, kind="acceleration"), 1)
    path, _ = write_simulated(made, tmp_path, "unit")
    again = spinlab.read(path)
    assert again.kind == "acceleration"
    assert again.rate_hz == pytest.approx(100.0, rel=0.01)
    assert np.linalg.norm(again.samples[:3].mean(axis=1)) == pytest.approx(9.8, abs=0.3)


def test_the_truth_is_plain_json_and_says_that_it_is_simulated(tmp_path):
    made = simulate(PLAIN, 9)
    _, truth_path = write_simulated(made, tmp_path, "unit")
    truth = json.loads(truth_path.read_text())
    assert truth["format"] == "spinlab.truth"
    assert "simulated" in truth["note"]
    assert truth["seed"] == 9
    assert len(truth["time_s"]) == len(truth["speed_rpm"]) == len(truth["turns"])
    assert truth["parameters"]["drive"]["ratio"] == made.truth.parameters.drive.ratio
    assert truth["stages"][0]["expected_rpm"] == 600.0
    assert "NaN" not in truth_path.read_text()


def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(OutputError, match="choose another folder"):
        write_simulated(simulate(PLAIN, 1), blocked, "unit")


def test_nothing_half_written_is_left_behind(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing_module.os, "replace", full)
    with pytest.raises(OutputError, match="No space left"):
        write_simulated(simulate(PLAIN, 1), tmp_path, "unit")
    assert os.listdir(tmp_path) == []
