"""One plain sentence, and its state."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.finding import Finding
from spinlab.findings import stage
from spinlab.findings.verdict import verdict
from spinlab.machine import load_machine
from spinlab.quality.value import Quality
from spinlab.speed.track import Rival
from spinlab.stages import stage_table
from tests.courses import track_through
from tests.findings.test_stage import SPIN

MACHINE = load_machine("belt-brushed-1400")
GOOD = Quality(
    kind="sound",
    duration_s=98.0,
    rate_hz=48000.0,
    rate_standard_uncertainty_hz=2.4,
    usable_band_hz=(40.0, 16000.0),
)


def judged(*corners, more=(), machine=MACHINE, quality=GOOD, **about):
    track = track_through(*corners, **about)
    stages = stage_table(track, machine)
    findings = (*stage.findings(stages, track, machine), *more)
    return verdict(stages, findings, track, quality)


def finding(state, subject="rear drum bearing", probability=0.9, kind="bearing"):
    return Finding(kind=kind, subject=subject, state=state, probability=probability)


def test_a_sound_unit_is_clear_and_the_sentence_says_what_was_reached():
    got = judged(*SPIN)
    assert got.state == "clear"
    assert got.sentence == (
        "All 5 stages are reached, top speed 1400 ± 1 rpm; nothing else stands out."
    )


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        (("clear", "attention", "fault"), "fault"),
        (("clear", "attention", "not measurable"), "attention"),
        (("clear", "not measurable"), "clear"),
    ],
)
def test_the_gravest_finding_decides_and_one_not_measured_takes_nothing_away(states, expected):
    assert judged(*SPIN, more=[finding(state) for state in states]).state == expected


def test_the_gravest_and_surest_finding_is_named_first():
    got = judged(
        *SPIN,
        more=[
            finding("attention", "belt slip", 0.5, "belt"),
            finding("fault", "front drum bearing", 0.85),
            finding("fault", "rear drum bearing", 0.95),
        ],
    )
    assert got.sentence == (
        "Rear drum bearing (probability 95 %) and front drum bearing; all 5 stages are reached, "
        "top speed 1400 ± 1 rpm."
    )


def test_a_missed_top_is_named_with_how_many_stages_are_reached():
    got = judged(*SPIN[:12], (82, 0), (85, 0))
    assert got.state == "fault"
    assert got.sentence.startswith("1400 rpm stage never reached (probability 87 %)")
    assert "4 of 5 stages are reached" in got.sentence


def test_a_top_stage_that_was_not_recorded_is_never_clear():
    got = judged(*SPIN[:10])
    assert got.state == "not measurable"
    assert got.sentence.startswith("The top stage, 1400 rpm, could not be measured")
    assert "3 of 5 stages are reached" in got.sentence


def test_a_low_stage_that_was_not_heard_leaves_the_rest_clear():
    got = judged((0, 650), *[(s - 28, n) for s, n in SPIN[6:]])
    assert got.state == "clear"
    assert "4 of 5 stages are reached, 1 could not be measured" in got.sentence


def test_without_a_known_speed_the_unit_is_not_measurable_whatever_is_clear():
    track = track_through(*SPIN)
    nothing = np.full(len(track.time_s), np.nan)
    lost = replace(track, speed_rpm=nothing, reason="nothing moves")
    got = verdict(stage_table(lost, MACHINE), [finding("clear")], lost, GOOD)
    assert got.state == "not measurable"
    assert got.sentence == "The drum's speed could not be measured: nothing moves."
    relative = judged(*SPIN, scale="relative", reason="the ratio is not known")
    assert relative.state == "not measurable"
    assert "the ratio is not known" in relative.sentence


def test_a_fault_found_otherwise_stands_even_without_a_speed():
    got = judged(*SPIN, scale="relative", reason="the ratio is not known", more=[finding("fault")])
    assert got.state == "fault"


def test_a_recording_that_cannot_be_used_says_why():
    bad = replace(GOOD, usable=False, reason="The recording is silent: record again.")
    got = judged(*SPIN, quality=bad)
    assert got.state == "not measurable"
    assert got.sentence == "The recording is silent: record again."


def test_without_a_profile_the_sentence_says_that_nothing_was_judged():
    got = judged(*SPIN, machine=None)
    assert got.state == "clear"
    assert "no profile was given" in got.sentence
    assert "5 speeds, top speed 1400" in got.sentence


def test_a_weighty_other_reading_of_the_speed_is_said():
    rivals = (Rival(ratio=1.0, weight=0.86), Rival(ratio=0.5, weight=0.14))
    assert "0.5 times this speed has weight 14 %" in judged(*SPIN, rivals=rivals).sentence
