"""`spinlab guide`: how to record, and whether this recording will do."""

import html

import numpy as np
import pytest
import soundfile


@pytest.fixture
def noise(tmp_path):
    """A readable sound of 70 s with a quiet start: an invented noise up to 24 kHz."""
    samples = 0.05 * np.random.default_rng(2).normal(size=70 * 48000)
    samples[: 10 * 48000] *= 0.01
    path = tmp_path / "noise.flac"
    soundfile.write(path, samples, 48000)
    return path


def test_without_a_recording_it_shows_how_to_record(spinlab):
    code, out, _ = spinlab("guide")
    assert code == 0
    assert out.startswith("HOW TO RECORD A SPIN TEST")
    for words in ("Drum empty", "door shut", "keep silent", "Sound memo", "100 samples", "Caution"):
        assert words in out
    assert max(map(len, out.splitlines())) <= 80


def test_it_makes_one_sheet_to_print(spinlab, tmp_path):
    assert spinlab("guide", "--page", tmp_path / "guide.html") == (0, "", "")
    page = html.unescape((tmp_path / "guide.html").read_text("utf-8"))
    assert "<script" not in page
    assert "script-src 'none'" in page
    assert "Drum empty" in page


def test_a_good_take_is_called_fit_for_what_sound_can_tell(spinlab, noise):
    code, out, _ = spinlab("guide", noise)
    assert code == 0
    states = dict(line.strip().split("  ", 1) for line in out.splitlines()[1:5])
    assert states["drum speed and stages"].strip().startswith("fit")
    assert states["bearings"].strip().startswith("fit")
    assert states["imbalance and suspension"].strip().startswith("not fit")
    assert "Nothing to improve was found." in out


def test_a_take_that_is_fit_for_nothing_has_the_code_for_not_measurable(spinlab, tmp_path):
    soundfile.write(tmp_path / "silence.wav", np.zeros(8000 * 5), 8000)
    code, out, _ = spinlab("guide", tmp_path / "silence.wav")
    assert code == 12
    assert "check the microphone's permission" in out


def test_what_cannot_be_read_is_one_sentence(spinlab, tmp_path):
    (tmp_path / "text.wav").write_text("hello", "utf-8")
    code, out, err = spinlab("guide", tmp_path / "text.wav")
    assert (code, out) == (20, "")
    assert len(err.splitlines()) == 1
