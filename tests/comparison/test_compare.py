"""Comparisons of recordings whose difference is known, because it was put there by formula."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.comparison import compare
from spinlab.comparison.look import SAME_PLACE_DB
from spinlab.errors import InputError
from spinlab.recording import Recording
from tests.comparison.made import PLATEAUS, logged, modulated

LINE = 4.3


def claimed(comparison, number=0):
    return [one for one in comparison.pairs[number].lines if one.claimed]


def at(comparison, order, number=0):
    """Lines stated at an order."""
    return [one for one in claimed(comparison, number) if abs(one.order - order) < 0.1]


@pytest.fixture(scope="module")
def deep():
    return modulated([(LINE, 0.6)], seed=1)


@pytest.fixture(scope="module")
def shallow():
    """A line of a quarter of the depth: 12 dB less in 20 lg of modulation depth."""
    return modulated([(LINE, 0.15)], seed=2)


def test_the_stated_interval_holds_the_change_that_was_made(deep, shallow):
    got = compare([deep, shallow])
    assert got.state == "attention"
    stated = at(got, LINE)
    assert {one.measure for one in stated} == {"envelope"}
    for one in stated:
        assert one.low_db is None or one.low_db <= -12.04
        assert one.high_db >= -12.04
        assert one.change_db is None or one.change_db == pytest.approx(-12.04, abs=4.0)
    assert claimed(got) == stated, "nothing but that line changed"


def test_the_change_turns_round_when_the_recordings_do(deep, shallow):
    down, up = compare([deep, shallow]), compare([shallow, deep])
    for one, other in zip(at(down, LINE), at(up, LINE), strict=True):
        assert one.high_db == pytest.approx(-other.low_db, abs=0.3)


def test_two_takes_of_the_same_noise_are_not_called_changed():
    again = [modulated([(LINE, 0.3)], seed=seed) for seed in (3, 4, 5)]
    got = compare(again)
    assert [pair.state for pair in got.pairs] == ["clear", "clear"]
    assert all(len(pair.lines) > 200 for pair in got.pairs)


def test_a_phones_gain_changes_nothing(deep):
    quiet = modulated([(LINE, 0.15)], seed=2, gain=0.05)
    loud = modulated([(LINE, 0.15)], seed=2)
    one, other = compare([deep, quiet]), compare([deep, loud])
    for a, b in zip(one.pairs[0].lines, other.pairs[0].lines, strict=True):
        assert a.second_db == pytest.approx(b.second_db, abs=0.05)
    limits = one.pairs[0].limits
    assert any("gain" in limit.reason for limit in limits), "and that is said"


def test_more_background_is_not_taken_for_a_better_machine():
    """As much steady noise as the machine makes at its fastest: lines are 12 dB shallower there
    and more where it is slower."""
    clear = modulated([(LINE, 0.5)], seed=6)
    noisy = modulated([(LINE, 0.5)], seed=7, background=1.0)
    drop = [
        a.second_db - a.first_db
        for a in compare([clear, noisy]).pairs[0].lines
        if abs(a.order - LINE) < 0.1 and a.measure == "envelope"
    ]
    assert min(drop) < -5.0, "the test must be one that a plain difference would fail"
    got = compare([clear, noisy])
    assert at(got, LINE) == []
    told = [limit for limit in got.pairs[0].limits if "background" in limit.reason]
    assert ["second" in limit.what for limit in told] == [True]


def test_speeds_are_laid_over_one_another_whenever_they_were_run(deep):
    backwards = modulated([(LINE, 0.6)], seed=8, plateaus=PLATEAUS[::-1])
    got = compare([deep, backwards])
    assert [round(one.speed_rpm, -1) for one in got.speeds] == [600, 900, 1200]
    assert got.state == "clear"


def test_only_shared_speeds_are_compared(deep):
    other = modulated([(LINE, 0.15)], seed=9, plateaus=((700.0, 9.0), (1200.0, 9.0)))
    line = at(compare([deep, other]), LINE)[0]
    assert [round(one.speed_rpm, -2) for one in line.at_speeds] == [1200]


def test_no_shared_speed_is_said_and_not_measurable(deep):
    got = compare([deep, modulated([], seed=10, plateaus=((760.0, 9.0),))])
    assert got.state == "not measurable"
    assert any("No speed was held" in limit.reason for limit in got.pairs[0].limits)


def test_a_relative_track_is_not_measurable_with_its_reason(deep, shallow):
    track = replace(shallow.track, scale="relative", reason="two readings remain")
    got = compare([deep, replace(shallow, track=track, stages=replace(shallow.stages, stages=()))])
    assert got.state == "not measurable"
    assert any("two readings remain" in limit.reason for limit in got.pairs[0].limits)


def test_sound_is_not_held_against_acceleration(deep, shallow):
    source = shallow.recording
    log = Recording(kind="acceleration", samples=source.samples, rate_hz=source.rate_hz)
    got = compare([deep, replace(shallow, recording=log)])
    assert got.pairs[0].lines == ()
    assert any("acceleration" in limit.reason for limit in got.pairs[0].limits)


def test_a_new_order_of_the_shaking_is_stated_with_its_change():
    """Order 3.4 of a log ten times stronger: 20 dB, by formula; the first orders stay as they were,
    and are compared as amplitudes."""
    before = logged([(1.0, 2.0), (3.4, 0.1)], seed=21)
    after = logged([(1.0, 2.0), (3.4, 1.0)], seed=22)
    stated = at(compare([before, after]), 3.4)
    assert [one.measure for one in stated] == ["shaking"]
    assert stated[0].low_db <= 20.0 <= stated[0].high_db
    assert stated[0].change_db == pytest.approx(20.0, abs=2.0)
    assert [one.order for one in claimed(compare([before, after])) if one.order < 2.5] == []


def test_two_logs_of_an_unchanged_machine_are_not_called_changed():
    logs = [logged([(1.0, 2.0), (3.4, 0.3)], seed=seed) for seed in (23, 24)]
    assert compare(logs).state == "clear"


def test_another_place_of_the_phone_widens_every_interval(deep, shallow):
    near, anywhere = compare([deep, shallow]), compare([deep, shallow], same_place=False)
    width = {}
    for name, got in (("near", near), ("anywhere", anywhere)):
        line = next(
            one
            for one in got.pairs[0].lines
            if abs(one.order - LINE) < 0.1 and one.measure == "envelope"
        )
        width[name] = line.high_db - line.change_db
    assert (
        width["anywhere"] > 1.3 * width["near"] > 1.96 * SAME_PLACE_DB * np.sqrt(2 / len(PLATEAUS))
    )


def test_recordings_of_unlike_rates_are_compared_at_the_lower_one(deep):
    from scipy.signal import resample_poly

    source = deep.recording
    finer = replace(
        source,
        samples=resample_poly(source.samples, 3, 2, axis=1).astype(np.float32),
        rate_hz=1.5 * source.rate_hz,
    )
    got = compare([replace(deep, recording=finer), deep])
    assert got.state == "clear"
    assert at(compare([replace(deep, recording=finer), modulated([], seed=11)]), LINE)


def test_one_recording_is_no_comparison(deep):
    with pytest.raises(InputError, match="two recordings"):
        compare([deep])
