"""The analysis as a whole: its order, what survives a failing step, and its JSON.

The speed comes from the simulator's truth in most of these, so that they test the order of the
steps and not the tracker.
"""

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from spinlab import analyse, load_machine
from spinlab.analysis import DefectWarning
from spinlab.meter import parse_reading
from spinlab.recording import Recording
from spinlab.report.json_output import schema
from spinlab.simulate import Step, load_scenario, simulate, spin_test
from tests.courses import track_of

RATE_HZ = 16000


def simulated(name="healthy", programme=None, **changes):
    parameters = load_scenario(name)
    programme = programme or spin_test((400.0, 800.0, 1200.0), hold_s=5.0, coast_s=6.0)
    phone = replace(parameters.phone, rate_hz=RATE_HZ)
    return simulate(replace(parameters, programme=programme, phone=phone, **changes), 3)


def true_track(made):
    """The truth in frames, with the doubt that a good tracker leaves."""
    truth = made.truth
    time_s = np.arange(0.15, made.recording.duration_s, 0.3)
    speed = np.interp(time_s, truth.time_s, truth.speed_rpm)
    speed = np.where(speed < 2.0, 0.0, speed)
    return track_of(time_s, speed, 0.001 * speed)


@pytest.fixture(scope="module")
def machine():
    whole = load_machine("belt-brushed-1200")
    return replace(whole, programme=tuple(p for p in whole.programme if p.rpm in (400, 800, 1200)))


@pytest.fixture(scope="module")
def healthy():
    return simulated()


@pytest.fixture
def true_speed(monkeypatch):
    """Let the tracker answer with a given track."""

    def give(track):
        monkeypatch.setattr("spinlab.speed.track_speed", lambda *_, **__: track)

    return give


def test_one_call_leads_from_a_recording_to_the_verdict(healthy, machine, true_speed):
    true_speed(true_track(healthy))
    got = analyse(healthy.recording, machine)
    assert got.failures == ()
    assert [stage.outcome for stage in got.stages.stages] == ["reached"] * 3
    kinds = {finding.kind for finding in got.findings}
    assert {"stage", "bearing", "imbalance", "oscillation", "suspension", "looseness"} <= kinds
    assert {"belt", "motor"} <= kinds
    assert got.verdict.state in ("clear", "attention")
    assert "3 stages are reached" in got.verdict.sentence


def test_the_json_keeps_the_published_schema(healthy, machine, true_speed):
    true_speed(true_track(healthy))
    for profile in (machine, None):
        got = json.loads(analyse(healthy.recording, profile).to_json())
        jsonschema.validate(got, schema())
        assert (got["format"], got["version"]) == ("spinlab.result", 1)


def test_the_same_recording_gives_the_same_result(healthy, machine, true_speed):
    true_speed(true_track(healthy))
    once, again = (analyse(healthy.recording, machine).to_json() for _ in range(2))
    assert once == again


def test_without_a_profile_speeds_are_listed_and_not_judged(healthy, true_speed):
    true_speed(true_track(healthy))
    got = analyse(healthy.recording)
    assert [round(s.speed_rpm, -2) for s in got.stages.stages] == [400, 800, 1200]
    assert {s.outcome for s in got.stages.stages} == {"extra"}
    assert not [f for f in got.findings if f.kind == "stage" and f.state != "not measurable"]


def test_a_top_speed_never_reached_is_the_verdict(machine, true_speed):
    made = simulated(programme=spin_test((400.0, 800.0), hold_s=5.0, coast_s=6.0))
    true_speed(true_track(made))
    got = analyse(made.recording, machine)
    assert got.verdict.state == "fault"
    assert got.verdict.sentence.startswith("1200 rpm stage never reached")


def test_an_acceleration_log_takes_the_same_way(machine, true_speed):
    made = simulated("lid-log")
    true_speed(true_track(made))
    got = analyse(made.recording, machine)
    assert got.failures == ()
    assert got.vibration is not None
    assert got.vibration.levels
    jsonschema.validate(json.loads(got.to_json()), schema())


def test_a_relative_speed_yields_no_number_in_rpm(healthy, machine, true_speed):
    true_speed(replace(true_track(healthy), scale="relative", reason="the ratio is not known"))
    got = analyse(healthy.recording, machine)
    assert got.verdict.state == "not measurable"
    assert got.stages.top_speed_rpm is None
    assert {s.outcome for s in got.stages.stages} == {"not measurable"}
    shaking = [f for f in got.findings if f.kind in ("bearing", "imbalance", "oscillation", "belt")]
    assert {f.state for f in shaking} == {"not measurable"}


def test_silence_is_not_measurable_and_never_tracked(machine, monkeypatch):
    def never(*_, **__):
        raise AssertionError("there is nothing to track")

    monkeypatch.setattr("spinlab.speed.track_speed", never)
    silent = Recording(kind="sound", samples=np.zeros((1, 80000), np.float32), rate_hz=16000.0)
    got = analyse(silent, machine)
    assert got.verdict.state == "not measurable"
    assert "silent" in got.verdict.sentence
    assert got.failures == ()
    jsonschema.validate(json.loads(got.to_json()), schema())


@pytest.mark.parametrize("samples", [1, 2, 50, 4000])
@pytest.mark.parametrize(("kind", "rate_hz"), [("sound", 8000.0), ("acceleration", 100.0)])
def test_a_blink_of_noise_is_not_measurable_and_breaks_nothing(kind, rate_hz, samples, machine):
    noise = np.random.default_rng(samples).normal(0, 0.1, (2, samples)).astype(np.float32)
    got = analyse(Recording(kind=kind, samples=noise, rate_hz=rate_hz), machine)
    assert got.verdict.state == "not measurable"
    assert got.failures == ()
    jsonschema.validate(json.loads(got.to_json()), schema())


def test_a_step_that_fails_is_named_and_loses_nothing_else(
    healthy, machine, true_speed, monkeypatch
):
    def broken(*_, **__):
        raise ZeroDivisionError("an invented defect")

    true_speed(true_track(healthy))
    monkeypatch.setattr("spinlab.analysis.measure.detect", broken)
    with pytest.warns(DefectWarning, match="Looking for bearing damage"):
        got = analyse(healthy.recording, machine)
    assert [(f.step, f.error) for f in got.failures] == [
        ("Looking for bearing damage", "ZeroDivisionError: an invented defect")
    ]
    (bearing,) = [f for f in got.findings if f.kind == "bearing"]
    assert bearing.state == "not measurable"
    assert "defect of spinlab's own" in bearing.reason
    assert [stage.outcome for stage in got.stages.stages] == ["reached"] * 3
    assert got.vibration is not None


def test_a_defect_is_an_error_in_tests(healthy, machine, true_speed, monkeypatch):
    def broken(*_, **__):
        raise ZeroDivisionError("an invented defect")

    true_speed(true_track(healthy))
    monkeypatch.setattr("spinlab.analysis.measure.cut_phases", broken)
    with pytest.raises(DefectWarning, match="an invented defect"):
        analyse(healthy.recording, machine)


def test_a_bearing_that_no_catalogue_knows_is_not_measurable_and_loses_nothing_else(
    healthy, machine, true_speed
):
    from spinlab.machine import Bearing

    true_speed(true_track(healthy))
    odd = replace(machine, bearings=(Bearing(place="rear drum", designation="X-99"),))
    got = analyse(healthy.recording, odd)
    bearings = [f for f in got.findings if f.kind == "bearing"]
    assert any("X-99" in f.reason for f in bearings)
    assert {f.state for f in bearings} == {"not measurable"}
    assert got.failures == ()


def test_meter_readings_become_findings(healthy, machine, true_speed):
    true_speed(true_track(healthy))
    lines = ("400rpm 230V 0.9A 180W", "800rpm 230V 1.1A 220W", "1200rpm 230V 1.6A 620W")
    readings = [parse_reading(line) for line in lines]
    got = analyse(healthy.recording, machine, readings=readings)
    assert any(f.subject.startswith("drag power") for f in got.findings)
    assert len(json.loads(got.to_json())["readings"]) == 3


def test_a_whole_service_test_reports_its_phases(true_speed):
    rest = Step(kind="rest", rise_rpm_per_s=60.0, hold_s=3.0)
    tumbles = [
        step
        for sign in (1.0, -1.0, 1.0)
        for step in (Step(kind="tumble", rpm=sign * 48.0, rise_rpm_per_s=40.0, hold_s=6.0), rest)
    ]
    made = simulated(programme=(rest, *tumbles, *spin_test((400.0, 800.0), hold_s=4.0)))
    true_speed(true_track(made))
    got = analyse(made.recording)
    labels = [phase.label for phase in got.phases.phases]
    assert labels.count("wash motion") >= 3
    assert "spin" in labels
    phases = json.loads(got.to_json())["phases"]
    assert [phase["label"] for phase in phases] == labels


def test_progress_names_every_step_that_takes_long(healthy, machine, monkeypatch):
    def track_speed(*_, progress, **__):
        progress("an inner step", 0.4)
        return true_track(healthy)

    monkeypatch.setattr("spinlab.speed.track_speed", track_speed)
    told = []
    analyse(healthy.recording, machine, progress=lambda step, share: told.append((step, share)))
    assert ("Tracking the speed", 0.4) in told
    assert told[0] == ("Judging the recording", 0.0)
    steps = [step for step, _ in told]
    assert "an inner step" not in steps
    assert "Looking for bearing damage" in steps


def test_each_step_tells_how_long_it_took(healthy, machine, true_speed):
    true_speed(true_track(healthy))
    seconds = dict(analyse(healthy.recording, machine).seconds)
    assert {"Judging the recording", "Tracking the speed", "Looking for bearing damage"} <= set(
        seconds
    )
    assert all(value >= 0.0 for value in seconds.values())


def test_the_whole_way_with_the_real_tracker_on_a_simulated_spin(machine):
    made = simulated(
        programme=spin_test((400.0, 800.0, 1200.0), hold_s=6.0, coast_s=6.0, distribution_s=2.0)
    )
    got = analyse(made.recording, machine)
    assert got.failures == ()
    for stage in got.stages.stages:
        if stage.speed_rpm is None:
            continue
        truth = made.truth.mean_speed_rpm(stage.start_s, stage.end_s)
        assert stage.speed_rpm == pytest.approx(truth, rel=0.003)
    jsonschema.validate(json.loads(got.to_json()), schema())
