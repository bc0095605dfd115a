"""Numbers, times and states as people read them."""

import math
from dataclasses import replace

import pytest

from spinlab.finding import Finding
from spinlab.phases import Phase, PhaseList
from spinlab.report import words
from spinlab.report.phases import phase_lines
from spinlab.stages import Stage, StageTable


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        # GUM (JCGM 100:2008) 7.2.6: an uncertainty keeps at most two significant digits, and the
        # value is cut at the same place.  ± is twice the standard uncertainty.
        (1331.2345, 0.211, "1331.23 ± 0.42"),
        (1331.2345, 2.11, "1331.2 ± 4.2"),
        (1331.2345, 21.1, "1331 ± 42"),
        (-3.14159, 0.0049, "−3.142 ± 0.010"),
        (1400.0, None, "1400 ± ?"),
        (1400.0, math.nan, "1400 ± ?"),
        (None, 0.2, "–"),
        (math.nan, 0.2, "–"),
    ],
)
def test_a_value_is_cut_where_its_uncertainty_is(value, uncertainty, text):
    assert words.measured(value, uncertainty) == text


@pytest.mark.parametrize(
    ("time_s", "text"),
    [(0, "0:00"), (59.99, "0:59"), (83.46, "1:23"), (3723, "1:02:03"), (-5, "−0:05"), (None, "–")],
)
def test_times_look_as_a_player_shows_them(time_s, text):
    assert words.clock(time_s) == text


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.71, "71 %"),
        (0.987, "98.7 %"),
        (0.99999, "over 99.9 %"),
        (1.0, "over 99.9 %"),
        (0.0, "under 0.1 %"),
        (None, "no honest number"),
        (math.nan, "no honest number"),
    ],
)
def test_a_probability_never_claims_certainty(probability, text):
    assert words.chance(probability) == text


def test_the_gravest_and_surest_finding_stands_first():
    def finding(state, probability):
        return Finding(
            kind="belt", subject=f"{state} {probability}", state=state, probability=probability
        )

    shuffled = (
        finding("clear", 0.9),
        finding("not measurable", None),
        finding("attention", 0.6),
        finding("fault", 0.7),
        finding("attention", 0.8),
    )
    assert [(f.state, f.probability) for f in words.sorted_findings(shuffled)] == [
        ("fault", 0.7),
        ("attention", 0.8),
        ("attention", 0.6),
        ("not measurable", None),
        ("clear", 0.9),
    ]


def test_without_a_profile_the_report_names_the_one_fact_that_is_missing(nothing_known):
    gaps = {gap.what: gap for gap in words.unmeasured(nothing_known)}
    assert "--machine" in gaps["whether the speeds are the right ones"].remedy
    assert gaps["the drum's speed"].reason == nothing_known.track.reason


def test_a_finding_that_cannot_be_measured_says_which_recording_would_tell(invented):
    (gap,) = words.unmeasured(invented)
    assert gap.what == "rear drum bearing"
    assert gap.remedy.startswith("Put the designation")


@pytest.mark.parametrize(
    "hostile", ["a\nb", "a\x1b[31mb", "a\u202egnp.exe", "a\u0000b", "a\u2028b"]
)
def test_outside_text_can_neither_break_a_line_nor_turn_its_direction(hostile):
    shown = words.one_line(hostile)
    assert shown.isprintable()
    assert "\u202e" not in shown
    assert len(shown) == len(hostile)


def test_stages_that_share_a_reason_are_told_once(invented):
    lost = Stage(expected_rpm=400.0, outcome="not measurable", reason="The file ends before.")
    table = StageTable(stages=(lost, replace(lost, expected_rpm=800.0)))
    told = words.unmeasured(invented.but(stages=table))
    assert told[0].what == "the 400 rpm and 800 rpm stages"
    assert [gap.reason for gap in told].count("The file ends before.") == 1


def test_phases_are_told_only_of_a_recording_that_holds_more_than_the_spin():
    spin = Phase(label="spin", start_s=60.0, end_s=130.0, confidence=0.9)
    wash = Phase(label="wash motion", start_s=0.0, end_s=60.0, confidence=0.8)
    assert phase_lines(PhaseList(phases=(spin,))) == ()
    assert phase_lines(None) == ()
    assert phase_lines(PhaseList(phases=(wash, spin))) == (
        "0:00 – 1:00  wash motion (80 % sure)",
        "1:00 – 2:10  spin (90 % sure)",
    )
    doubtful = replace(wash, confidence=0.45)
    assert phase_lines(PhaseList(phases=(doubtful, spin))) == ()
