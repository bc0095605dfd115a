"""Proofs: each measured finding's chart shows the finding's own numbers, and marks them."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from spinlab.bearings.evidence import BearingEvidence, EnvelopeCurve
from spinlab.envelope.kurtosis import Band
from spinlab.finding import Finding
from spinlab.proofs import proofs
from tests.invented import make_invented


@pytest.fixture(scope="module")
def analysis():
    return make_invented()


def only(analysis, finding, **measured):
    """The chart of one finding, beside whatever else the analysis is to hold."""
    fields = {name: getattr(analysis, name) for name in ("recording", "track", "stages")}
    (chart,) = proofs(SimpleNamespace(**fields, findings=(finding,), **measured))
    return chart


def stage_finding(**evidence):
    return Finding(
        kind="stage", subject="1400 rpm stage off speed", state="fault", evidence=evidence
    )


def test_there_is_one_place_for_each_finding_and_nothing_for_what_was_not_measured(analysis):
    charts = proofs(analysis)
    assert len(charts) == len(analysis.findings)
    for finding, chart in zip(analysis.findings, charts, strict=True):
        assert chart is None or finding.state != "not measurable"


def test_a_stage_off_its_speed_is_shown_beside_what_was_asked(analysis):
    chart = only(
        analysis,
        stage_finding(
            asked_rpm=1400.0,
            allowed_rpm=42.0,
            speed_rpm=1331.2,
            standard_uncertainty_rpm=0.4,
            start_s=90.0,
            end_s=104.0,
        ),
    )
    (curve,), (mark,) = chart.curves, chart.marks
    on_plateau = (curve.x > 92) & (curve.x < 102)
    assert np.nanmedian(curve.y[on_plateau]) == pytest.approx(1331, abs=2)
    assert (mark.y, mark.words) == (1331.2, "held 1331.2 ± 0.8 rpm")
    assert {(zone.low, zone.high) for zone in chart.zones} == {(1400, 1400), (1358, 1442)}
    assert chart.time_axis


def test_a_missed_stage_is_shown_over_the_whole_run_with_the_fastest_moment_marked(analysis):
    chart = only(analysis, stage_finding(missed_rpm=[1400.0], fastest_held_rpm=1331.2))
    assert chart.zones[-1].words == "asked 1400, never held"
    assert chart.zones[0].words == "asked 400"
    assert chart.marks[0].y == pytest.approx(1332.5, abs=1)


def envelope_of(lines):
    """An invented envelope spectrum: noise of 1, and lines at given orders."""
    order = np.arange(20_000) / 1000.0
    level = np.random.default_rng(5).exponential(1.0, len(order))
    for place, height in lines.items():
        level[round(place * 1000)] = height
    band = Band(low_hz=2000.0, high_hz=4000.0)
    return BearingEvidence(curve=EnvelopeCurve(order=order, level=level, threshold=14.0, band=band))


def bearing_finding(**changes):
    rows = [
        {"label": "1 x BPFO", "order": 3.573, "snr_db": 20.0},
        {"label": "2 x BPFO", "order": 7.146, "snr_db": 17.0},
    ]
    evidence = {"band_hz": [2000.0, 4000.0], "harmonics": rows} | changes
    return Finding(kind="bearing", subject="rear", state="attention", evidence=evidence)


def test_the_harmonics_of_a_bearing_are_marked_on_top_of_their_lines(analysis):
    chart = only(
        analysis, bearing_finding(), bearings=envelope_of({3.573: 100.0, 7.146: 50.0, 1.0: 200.0})
    )
    places = {mark.words: (mark.x, mark.y) for mark in chart.marks}
    # 10 lg 100 = 20 dB, 10 lg 50 = 17 dB, 10 lg 200 = 23 dB, 10 lg 14 = 11.5 dB.
    assert places["1 × outer race"] == (3.573, pytest.approx(20.0))
    assert places["2 ×"] == (7.146, pytest.approx(16.99, abs=0.01))
    assert places["once per turn"] == (1.0, pytest.approx(23.01, abs=0.01))
    assert chart.zones[0].low == pytest.approx(11.46, abs=0.01)


def test_thinning_a_long_spectrum_loses_no_line(analysis):
    chart = only(analysis, bearing_finding(), bearings=envelope_of({3.573: 100.0, 6.001: 77.0}))
    (curve,) = chart.curves
    assert len(curve.x) < 1500
    assert curve.y[np.abs(curve.x - 6.001) < 1e-9] == pytest.approx(10 * np.log10(77.0))


def test_a_spectrum_of_another_band_proves_nothing_and_is_not_shown(analysis):
    other = bearing_finding(band_hz=[5000.0, 7000.0])
    assert only(analysis, other, bearings=envelope_of({3.573: 100.0})) is None


def test_imbalance_is_shown_on_every_plateau_beside_its_limit(analysis):
    rows = [
        {
            "speed_rpm": 800.0,
            "velocity_mm_s_rms": 10.0,
            "velocity_mm_s_rms_standard_uncertainty": 1.0,
        },
        {
            "speed_rpm": 1400.0,
            "velocity_mm_s_rms": 73.2,
            "velocity_mm_s_rms_standard_uncertainty": 0.8,
        },
    ]
    finding = Finding(
        kind="imbalance",
        subject="imbalance of the drum",
        state="attention",
        evidence={"plateaus": rows, "limit_velocity_mm_s_rms": 28.0},
    )
    chart = only(analysis, finding)
    (curve,), (mark,), (zone,) = chart.curves, chart.marks, chart.zones
    assert curve.low.tolist() == [8.0, pytest.approx(71.6)]
    assert (mark.x, mark.y, zone.low) == (1400.0, 73.2, 28.0)


def test_half_orders_stand_apart_from_whole_ones_and_only_they_are_marked(analysis):
    rows = [
        {"order": 1.0, "level": 9.0, "standard_uncertainty": 0.1, "p_value": 0.0},
        {"order": 1.5, "level": 2.0, "standard_uncertainty": 0.1, "p_value": 1e-6},
        {"order": 2.5, "level": 0.1, "standard_uncertainty": 0.1, "p_value": 0.4},
    ]
    finding = Finding(
        kind="looseness",
        subject="loose part or mount",
        state="attention",
        evidence={"orders": rows, "level_unit": "m/s2 peak"},
    )
    chart = only(analysis, finding)
    assert [curve.x.tolist() for curve in chart.curves] == [[1.0], [1.5, 2.5]]
    assert [mark.x for mark in chart.marks] == [1.5]


def test_ramps_given_up_are_marked_where_they_ended(analysis):
    finding = Finding(
        kind="oscillation",
        subject="ramps given up and tried again",
        state="attention",
        evidence={"times_s": [33.0], "speeds_rpm": [600.0]},
    )
    chart = only(analysis, finding)
    assert [(mark.x, mark.y) for mark in chart.marks] == [(33.0, 600.0)]


def test_where_no_speed_is_known_no_chart_of_speed_is_drawn(analysis):
    nothing = replace(analysis.track, speed_rpm=np.full(len(analysis.track.time_s), np.nan))
    unknown = analysis.but(track=nothing)
    assert only(unknown, stage_finding(missed_rpm=[1400.0])) is None
