"""A baseline of recordings made by formula: its check, its file, and a unit that departs."""

from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from spinlab.baseline import baseline_toml, hold_against, load_baseline, make_baseline
from spinlab.errors import InputError
from spinlab.recording import Recording
from spinlab.report.held_page import held_json, held_page, held_schema
from spinlab.report.held_text import held_text
from tests.comparison.made import modulated

PLATEAUS = ((900.0, 6.0), (1200.0, 6.0))
LINE = 4.25


def unit(seed, depth=0.1, gain=1.0):
    """A unit whose line differs a little from its fellows', as units do."""
    own = depth * 10 ** (np.random.default_rng(seed).normal(0.0, 1.0) / 20)
    return modulated(
        [(1.0, 0.3 * own / depth), (LINE, own)], seed=seed, plateaus=PLATEAUS, gain=gain
    )


@pytest.fixture(scope="module")
def good():
    return [unit(seed) for seed in range(1, 8)]


@pytest.fixture(scope="module")
def made(good):
    return make_baseline(good)


def test_it_holds_a_band_for_every_speed_and_spectrum(made):
    speeds = {round(one.where.speed_rpm, -2) for one in made.references}
    assert speeds == {900, 1200}
    bands = {one.where.band for one in made.references if one.where.measure == "envelope"}
    assert len(bands) == 4
    assert all(one.count == 7 for one in made.references)


def test_each_good_recording_passes_against_the_others(made):
    shares = [left.outside_share for left in made.left_out]
    assert len(shares) == 7
    assert not any(left.departs for left in made.left_out)
    assert 0.0 < np.mean(shares) < 0.1


def test_a_good_unit_is_within_whatever_its_gain(made):
    held = hold_against(made, unit(20, gain=0.03))
    assert held.state == "clear"
    assert held.outside_share < 0.12


def test_a_worn_unit_departs_at_its_line_and_nowhere_else(made):
    held = hold_against(made, unit(21, depth=0.8))
    assert held.state == "attention"
    departing = {place.order for place in held.places if place.departs}
    assert departing
    assert all(abs(order - LINE) < 0.3 for order in departing)
    assert "4.25" in held.statements[0].sentence


def test_a_worn_unit_among_the_good_is_named_by_the_check(good):
    mixed = make_baseline([*good[:6], unit(22, depth=0.9)])
    assert [left.departs for left in mixed.left_out] == [False] * 6 + [True]


def test_the_file_is_read_back_as_it_was_written(made, tmp_path):
    path = tmp_path / "model.toml"
    path.write_text(baseline_toml(made), "utf-8")
    again = load_baseline(path)
    assert (again.kind, again.rate_hz, again.recordings) == (
        made.kind,
        made.rate_hz,
        dict(made.recordings),
    )
    for one, other in zip(again.references, made.references, strict=True):
        assert one.where == other.where
        assert one.middle_db == pytest.approx(other.middle_db, abs=0.006, nan_ok=True)
        assert one.spread_db == pytest.approx(other.spread_db, abs=0.006, nan_ok=True)
    assert hold_against(again, unit(21, depth=0.8)).state == "attention"


def test_a_hostile_name_stays_a_name(made, tmp_path):
    path = tmp_path / "model.toml"
    hostile = 'a"\n[[reference]]\nspeed_rpm = -1\n\\'
    path.write_text(baseline_toml(replace(made, recordings={hostile: "0" * 64})), "utf-8")
    assert list(load_baseline(path).recordings) == [hostile]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("spinlab.baseline", "something.else", "no baseline"),
        ("version = 1", "version = 7", "version 7"),
        ('kind = "sound"', 'kind = "smell"', "damaged"),
        ("middle_db = [", "middle_db = [1.0, ", "damaged"),
        ("count = 7", "count = {}", "damaged"),
        ("format", "format =", "no valid TOML"),
    ],
)
def test_a_file_that_is_no_baseline_is_one_sentence(made, tmp_path, old, new, message):
    path = tmp_path / "model.toml"
    path.write_text(baseline_toml(made).replace(old, new, 1 if old != "format" else -1), "utf-8")
    with pytest.raises(InputError, match=message):
        load_baseline(path)


def test_fewer_than_five_recordings_make_no_baseline(good):
    with pytest.raises(InputError, match="5 good recordings"):
        make_baseline(good[:4])


def test_sound_and_logs_make_no_baseline_together(good):
    source = good[0].recording
    log = Recording(kind="acceleration", samples=source.samples, rate_hz=source.rate_hz)
    with pytest.raises(InputError, match="one kind"):
        make_baseline([*good[:5], replace(good[0], recording=log)])


def test_what_cannot_be_held_against_it_says_why(made, good):
    slow = hold_against(made, modulated([], seed=30, plateaus=((900.0, 6.0),)))
    assert any("1200 rpm" in limit.what for limit in slow.limits)
    source = good[0].recording
    log = Recording(kind="acceleration", samples=source.samples, rate_hz=source.rate_hz)
    other = hold_against(made, replace(good[0], recording=log))
    assert (other.state, other.outside_share) == ("not measurable", None)
    assert "acceleration" in other.limits[0].reason


def test_the_outcome_can_be_read_by_people_and_programs(made):
    import json

    held = [hold_against(made, unit(21, depth=0.8)), hold_against(made, unit(20))]
    jsonschema.validate(
        json.loads(held_json(made, held)), held_schema(), jsonschema.Draft202012Validator
    )
    text = held_text(made, held)
    assert text.startswith("DEPARTS FROM THE BASELINE")
    assert max(len(line) for line in text.splitlines()) <= 80
    assert held_page(made, held).count('class="verdict') == 2
