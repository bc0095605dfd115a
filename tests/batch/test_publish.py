"""The table of a batch is whole, opens anywhere and runs nothing."""

import csv
import io

import pytest

from spinlab.batch.publish import COLUMNS, csv_row


@pytest.mark.parametrize("text", ["=1+1", "+49 30", "-2", "@SUM(A1)"])
def test_a_text_that_a_spreadsheet_would_run_is_tamed(text):
    # The characters are those of OWASP's page "CSV Injection".
    assert csv_row((text,)) == f"'{text}\r\n"


def test_a_negative_number_stays_a_number():
    assert csv_row((-2.5,)) == "-2.5\r\n"


def test_quotes_commas_and_line_breaks_stay_in_their_cell():
    cells = ("a,b", 'say "x"', "two\nlines", "", None)
    assert next(csv.reader(io.StringIO(csv_row(cells), newline=""))) == [
        *("a,b", 'say "x"', "two\nlines", "", "")
    ]


def test_every_file_has_a_row_and_every_row_every_column(put, batch, table, out):
    put("=cmd.wav", state="fault", probability=0.9)
    put("b.wav", do="unreadable")
    batch(machine="belt-brushed-1400")
    rows = table()
    assert [tuple(row) for row in rows] == [COLUMNS, COLUMNS]
    assert [row["recording"] for row in rows] == ["'=cmd.wav", "b.wav"]
    assert (out / rows[0]["result"]).is_file()
    assert rows[0] | {"sha256": "", "result": "", "finished": ""} == {
        "recording": "'=cmd.wav",
        "outcome": "fault",
        "sentence": "An invented verdict: fault.",
        "probability": "0.9",
        "subject": "an invented part",
        "top_speed_rpm": "801.25",
        "top_speed_standard_uncertainty_rpm": "0.5",
        "stages_reached": "1",
        "stages_expected": "2",
        "duration_s": "1.0",
        "kind": "sound",
        "machine": "belt-brushed-1400",
        "sha256": "",
        "result": "",
        "page": "",
        "finished": "",
        "spinlab_version": "0.0.0",
    }
    assert rows[1]["result"] == rows[1]["top_speed_rpm"] == ""
