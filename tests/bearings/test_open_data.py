"""Measured damage is found and named with the published bearing; healthy records stay silent.

Two open rigs (see `open_data`).  The housing accelerometer next to the damaged bearing is what
each file is about; the farther channels of a file are in the benchmark table.
"""

import numpy as np
import pytest

from spinlab import track_speed
from spinlab.bearings import catalogue, detect
from spinlab.findings.bearing import bearing_findings
from tests.bearings.open_data import cwru_records, mfpt_record
from tests.shared_data import shared


def findings(record):
    evidence = detect(record.recording, record.track, record.bearings, catalogue=catalogue.load())
    return evidence, bearing_findings(evidence, kind="acceleration")


def channel(name, key):
    path = shared(f"data/cwru/{name}.npz")
    return next(r for r in cwru_records(path) if r.name.endswith(" " + key))


@pytest.mark.parametrize("key", ["DE", "FE", "BA"])
@pytest.mark.parametrize("name", ["1797_IR_7_DE12", "1797_OR@6_7_DE12"])
def test_a_cwru_race_fault_is_named_from_every_channel(name, key):
    record = channel(name, key)
    _, (first, *rest) = findings(record)
    assert first.subject == f"{record.place}, {record.fault}"
    assert first.state == "fault"
    assert first.evidence["moves_with_speed"] == "not tested", "the rig runs at one speed"
    assert not rest


@pytest.mark.parametrize(
    ("name", "expected_hz"),
    # lines read in the files: 161.70 Hz (inner), 107.61 Hz (outer)
    [("1797_IR_7_DE12", 161.70), ("1797_OR@6_7_DE12", 107.61)],
)
def test_the_line_of_a_cwru_fault_lies_where_others_read_it(name, expected_hz):
    evidence, _ = findings(channel(name, "DE"))
    assert evidence.hypotheses[0].order * 1797 / 60 == pytest.approx(expected_hz, abs=0.1)


@pytest.mark.parametrize("name", ["InnerRaceFault_vload_1", "OuterRaceFault_vload_1"])
def test_an_mfpt_race_fault_is_named_though_its_line_lies_a_percent_low(name):
    record = mfpt_record(shared(f"data/mfpt/{name}.mat"))
    _, (first, *_) = findings(record)
    assert first.subject == f"rig bearing, {record.fault}"
    assert first.state == "fault"
    assert -1.6 < first.evidence["offset_percent"] < -0.4


@pytest.mark.parametrize("rate_hz", [12_000.0, 48_000.0])
@pytest.mark.parametrize("key", ["DE", "FE"])
def test_the_healthy_record_stays_silent(key, rate_hz):
    # The file is listed at 12 kHz; its shaft lines stand at whole orders only when it is read at
    # 48 kHz.  It must stay silent either way.
    path = shared("data/cwru/1797_Normal.npz")
    record = next(r for r in cwru_records(path, rate_hz=rate_hz) if r.name.endswith(" " + key))
    _, found = findings(record)
    assert [finding.state for finding in found] == ["clear"]


def test_the_hard_ball_record_is_flagged_and_its_part_left_open():
    _, (first, *_) = findings(channel("1730_B_21_DE12", "DE"))
    assert first.state in ("fault", "attention")
    assert first.subject == "drive end bearing"
    assert "stays undecided" in first.reason
    assert any("ball" in rival.cause for rival in first.rivals)


def test_a_speed_that_is_one_percent_off_still_names_the_race():
    from tests.bearings.open_data import constant_track

    record = channel("1797_OR@6_7_DE12", "DE")
    off = constant_track(record.speed_rpm * 1.01, record.recording.duration_s, uncertainty=0.01)
    evidence = detect(record.recording, off, record.bearings)
    first = bearing_findings(evidence, kind="acceleration")[0]
    assert first.subject == "drive end bearing, outer race"


def heard_by_itself(record):
    """The first finding where the speed is estimated from the record, as from a phone's file."""
    estimated = track_speed(record.recording, rpm_range=(30.0, 1850.0))
    assert estimated.scale == "absolute", estimated.reason
    evidence = detect(record.recording, estimated, record.bearings, catalogue=catalogue.load())
    return estimated, bearing_findings(evidence, kind="acceleration")[0]


@pytest.mark.parametrize("name", ["1797_IR_7_DE12", "1797_OR@6_7_DE12"])
def test_a_cwru_race_fault_is_named_with_the_speed_estimated_too(name):
    record = channel(name, "DE")
    estimated, first = heard_by_itself(record)
    assert np.nanmedian(estimated.speed_rpm) == pytest.approx(1797.0, rel=1e-3)
    assert (first.state, first.subject) == ("fault", f"drive end bearing, {record.fault}")


@pytest.mark.parametrize("name", ["InnerRaceFault_vload_1", "OuterRaceFault_vload_1"])
def test_an_mfpt_race_fault_is_named_with_the_speed_estimated_too(name):
    record = mfpt_record(shared(f"data/mfpt/{name}.mat"))
    estimated, first = heard_by_itself(record)
    # Stated as 25 Hz, nominal.
    assert np.nanmedian(estimated.speed_rpm) == pytest.approx(1500.0, rel=0.015)
    assert (first.state, first.subject) == ("fault", f"rig bearing, {record.fault}")


def test_the_healthy_record_stays_silent_with_the_speed_estimated_too():
    _, first = heard_by_itself(channel("1797_Normal", "DE"))
    assert first.state == "clear"


def test_the_hard_ball_record_is_flagged_with_the_speed_estimated_too():
    _, first = heard_by_itself(channel("1730_B_21_DE12", "DE"))
    assert first.state in ("fault", "attention")
    assert first.subject.startswith("drive end bearing")
