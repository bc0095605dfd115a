"""Files for other programs: tables, pictures and sounds say what the analysis says."""

import csv
import io
import json

import numpy as np
import pytest
import soundfile

from spinlab.clips import clips
from spinlab.errors import OutputError
from spinlab.finding import Finding
from spinlab.report.export import exported, write_export
from spinlab.report.tables import findings_csv, stages_csv, track_csv


def rows(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.fixture(scope="module")
def files(invented):
    return dict(exported(invented))


def test_the_track_as_a_table_is_the_track(invented):
    table = rows(track_csv(invented))
    assert len(table) == len(invented.track.time_s)
    read = np.array([float(row["speed_rpm"] or "nan") for row in table])
    np.testing.assert_allclose(read, invented.track.speed_rpm, atol=5e-4)
    assert table[0].keys() >= {"time_s", "standard_uncertainty_rpm", "motion", "carried_by"}


def test_where_there_is_no_number_the_cell_is_empty(invented):
    unknown = rows(track_csv(invented))[292]
    assert unknown["speed_rpm"] == ""
    assert unknown["motion"] == "unknown"


def test_every_stage_and_finding_has_its_row(invented):
    stages, findings = rows(stages_csv(invented)), rows(findings_csv(invented))
    assert [row["outcome"] for row in stages] == [s.outcome for s in invented.stages.stages]
    assert float(stages[-1]["speed_rpm"]) == 1331.2
    assert [row["subject"] for row in findings] == [f.subject for f in invented.findings]


def test_a_spreadsheet_takes_no_cell_for_a_formula(nothing_known):
    hostile = Finding(kind="supply", subject='=HYPERLINK("x")', state="clear", reason="+1")
    (row,) = rows(findings_csv(nothing_known.but(findings=(hostile,))))
    assert row["subject"] == '\'=HYPERLINK("x")'
    assert row["reason"] == "'+1"


def test_each_picture_comes_in_every_format(files):
    stems = {name.rsplit(".", 1)[0] for name in files if name.endswith(".png")}
    assert "overview" in stems
    assert any(stem.startswith("proof-1-") for stem in stems)
    for stem in stems:
        assert files[f"{stem}.png"].startswith(b"\x89PNG")
        assert b"<svg" in files[f"{stem}.svg"][:600]
        assert files[f"{stem}.pdf"].startswith(b"%PDF")


def test_the_result_lies_beside_them(files):
    assert json.loads(files["result.json"])["format"] == "spinlab.result"


def test_each_sound_is_a_wav_of_the_clips_own_length_and_pace(files, invented):
    for clip in clips(invented):
        sound, rate_hz = soundfile.read(io.BytesIO(files[f"sound-{clip.name}.wav"]))
        assert rate_hz == invented.recording.rate_hz * clip.pace
        assert len(sound) / rate_hz * clip.pace == pytest.approx(
            clip.end_s - clip.start_s, abs=0.01
        )
        assert 0.1 < np.abs(sound).max() <= 0.71


def test_files_go_into_a_folder_that_is_made_if_missing(nothing_known, tmp_path):
    written = write_export(nothing_known, tmp_path / "new" / "folder")
    assert sorted(path.name for path in written) == sorted(
        path.name for path in (tmp_path / "new" / "folder").iterdir()
    )
    assert (tmp_path / "new" / "folder" / "track.csv").stat().st_size > 100


def test_a_file_in_the_way_of_the_folder_is_named(nothing_known, tmp_path):
    (tmp_path / "taken").write_text("mine", "utf-8")
    with pytest.raises(OutputError, match="taken cannot be made: a file of that name"):
        write_export(nothing_known, tmp_path / "taken")
    assert (tmp_path / "taken").read_text("utf-8") == "mine"
