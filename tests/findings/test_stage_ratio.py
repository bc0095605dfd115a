"""A top stage that is off its place among the others, where no speed is known in rpm."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.findings import stage
from spinlab.findings.stage_ratio import OWN_SIGMA, top_against_others
from spinlab.machine import Plateau, load_machine
from spinlab.speed.track import Indication
from spinlab.stages import Stage, stage_table
from tests.courses import track_through

ASKED = (400.0, 800.0, 1000.0, 1200.0, 1400.0)
TOP = Plateau(rpm=1400.0, tolerance_percent=3.0)


def stages(*indicated_rpm):
    return [
        Stage(expected_rpm=asked, outcome="not measurable", indicated_rpm=rpm)
        for asked, rpm in zip(ASKED, indicated_rpm, strict=True)
    ]


@pytest.mark.parametrize("scale", [0.985, 1.0, 1.02])
def test_a_low_top_stage_is_seen_whatever_the_scale(scale):
    (found,) = top_against_others(
        stages(*(scale * rpm for rpm in (400.0, 800.0, 1000.0, 1200.0, 1330.0))), TOP
    )
    # 1330 over 1400 is 5.0 % low; the profile allows 3 %
    assert found.state == "attention"
    assert found.evidence["departure_percent"] == pytest.approx(-5.0, abs=1e-9)
    # one stage against the mean of four: sqrt(1 + 1/4)
    sigma = found.evidence["departure_standard_uncertainty_percent"]
    assert sigma == pytest.approx(100 * OWN_SIGMA * 1.25**0.5)
    whole = sum(cause.probability for cause in found.rivals) + found.probability
    assert whole == pytest.approx(1.0, abs=0.001)  # the departure itself is certain


@pytest.mark.parametrize(
    "indicated",
    [
        (400.0, 800.0, 1000.0, 1200.0, 1400.0),  # as asked
        (412.0, 824.0, 1030.0, 1236.0, 1442.0),  # all 3 % fast
        (400.0, 800.0, 1000.0, 1200.0, 1365.0),  # 2.5 % low: within 3 %
        (400.0, 800.0, None, None, 1330.0),  # two others prove too little
        (373.0, 800.0, 1000.0, 1200.0, 1330.0),  # the others do not agree
        (400.0, 800.0, 1000.0, 1200.0, None),  # the top is not indicated
    ],
)
def test_nothing_is_said_without_a_clear_departure_from_stages_that_agree(indicated):
    assert top_against_others(stages(*indicated), TOP) == ()


def test_the_finding_stands_among_those_of_a_track_without_rpm():
    track = track_through((0, 0), (5, 400), (60, 400), scale="relative", reason="too faint")
    shown = tuple(
        Indication(
            start_s=10.0 * k, end_s=10.0 * k + 6, speed_rpm=rpm, standard_uncertainty_rpm=8.0
        )
        for k, rpm in enumerate((400.0, 800.0, 1000.0, 1200.0, 1330.0))
    )
    track = replace(track, indications=shown, speed_rpm=np.full(len(track.time_s), np.nan))
    machine = load_machine("belt-brushed-1400")
    (found,) = stage.findings(stage_table(track, machine), track, machine)
    assert (found.state, found.subject) == ("attention", "1400 rpm stage against the others")
