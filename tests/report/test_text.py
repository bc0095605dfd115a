"""The report for a terminal."""

import re
from dataclasses import replace

import pytest

from spinlab.finding import Finding, Verdict
from spinlab.recording import Recording, Source
from spinlab.report.text import WIDTH, text_report
from spinlab.stages import Stage, StageTable


@pytest.fixture(scope="module")
def report(invented):
    return text_report(invented)


def test_the_verdict_stands_first_with_its_state_in_words(report):
    assert report.startswith("FAULT FOUND: The drum holds 1331 rpm")


def test_no_line_is_wider_than_eighty_columns(report, nothing_known):
    for text in (report, text_report(nothing_known)):
        assert max(len(line) for line in text.splitlines()) <= WIDTH == 80


def test_columns_of_the_stage_table_are_aligned(report):
    rows = [line for line in report.splitlines() if re.match(r"^ *\d+ (reached|off speed)", line)]
    assert len(rows) == 5
    assert len({row.index("±") for row in rows}) == 1
    assert len({row.index("/120") for row in rows}) == 1
    assert len({len(row) for row in rows}) == 1


def test_every_measured_speed_carries_its_interval(report):
    assert "1331.20 ± 0.42" in report
    assert "± is twice the standard uncertainty" in report


def test_the_fastest_speed_is_not_called_the_top_where_a_faster_stage_could_not_be_measured(
    invented,
):
    *lower, top = invented.stages.stages
    unknown = Stage(
        expected_rpm=top.expected_rpm, outcome="not measurable", reason="Too faint to be followed."
    )
    for stages, words in (
        ((*lower, top), "Top speed really reached"),
        ((*lower, unknown), "Fastest speed measured"),
    ):
        report = text_report(invented.but(stages=replace(invented.stages, stages=stages)))
        assert words in report


@pytest.mark.parametrize("room", range(20))
def test_no_line_ends_between_a_number_and_its_uncertainty_or_unit(nothing_known, room):
    # As many letters as place each part of the quantity at the 80th column once.
    words = f"{'n' * (60 + room)} is down by 12 +- 9 dB and stays there"
    reason = Finding(kind="belt", subject="belt", state="clear", reason=words)
    text = text_report(nothing_known.but(findings=(reason,)))
    assert "12 ± 9 dB" in text
    assert "\u00a0" not in text


def test_what_was_told_already_is_not_told_again_as_a_reason(nothing_known):
    why = "no stretch of it is supported by evidence"
    findings = tuple(
        Finding(
            kind="motor",
            subject=subject,
            state="not measurable",
            reason=f"the drum's own speed is not known: {why}",
            next_step="Record it anew.",
        )
        for subject in ("hunting", "loose part")
    )
    track = replace(nothing_known.track, reason=why)
    told = " ".join(text_report(nothing_known.but(track=track, findings=findings)).split())
    assert told.count("supported by evidence") == 1
    assert told.count("The drum's own speed is not known.") == 2


def test_no_colour_code_is_needed_or_sent(report):
    assert "\x1b" not in report


def test_parts_come_in_the_promised_order(report):
    order = ("FAULT FOUND", "STAGES", "FINDINGS", "COULD NOT BE MEASURED", "ABOUT THE RECORDING")
    places = [report.index(part) for part in order]
    assert places == sorted(places)


def test_the_caution_stands_where_the_next_check_is_asked_for(report):
    assert report.index("Next: ") < report.index("Caution: ") < report.index("COULD NOT BE")


def test_a_missing_number_is_a_dash_and_never_zero_or_nan(invented):
    table = StageTable(stages=(Stage(expected_rpm=1400.0, outcome="missed"),))
    text = text_report(invented.but(stages=table))
    row = next(line for line in text.splitlines() if "missed" in line)
    assert "nan" not in text
    assert "None" not in text
    assert row.split() == ["1400", "missed", *6 * "–"]


def test_a_hostile_file_name_cannot_steer_the_terminal(invented):
    source = Source(file="\x1b]0;pwned\x07spin\nFINE: all good.wav", sha256="")
    recording = Recording(
        kind="sound", samples=invented.recording.samples, rate_hz=16000.0, source=source
    )
    text = text_report(invented.but(recording=recording))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert not any(line.startswith("FINE") for line in text.splitlines())


def test_a_recording_with_nothing_to_remark_has_no_empty_headings(nothing_known):
    verdict = Verdict(state="clear", sentence="All is well.")
    calm = Finding(kind="belt", subject="belt", state="clear", reason="It does not slip.")
    text = text_report(nothing_known.but(verdict=verdict, findings=(calm,)))
    assert "ABOUT THE RECORDING" not in text
    assert "STAGES" not in text
    assert "Caution" not in text
