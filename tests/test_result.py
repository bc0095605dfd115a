"""The JSON result: the promised fields, no number where there is none, and the schema."""

import json
import math

import jsonschema
import numpy as np
import pytest

from spinlab.report.json_output import json_text, schema
from spinlab.result import plain, result
from tests.invented import make_invented, make_nothing_known


@pytest.fixture(scope="module", params=[make_invented, make_nothing_known])
def analysis(request):
    return request.param()


@pytest.fixture(scope="module")
def validator():
    jsonschema.Draft202012Validator.check_schema(schema())
    return jsonschema.Draft202012Validator(schema())


def test_the_result_keeps_the_published_schema(analysis, validator):
    validator.validate(json.loads(json_text(analysis)))


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (("version",), 2),
        (("recording", "kind"), "video"),
        (("track", "speed_rpm", 0), "fast"),
        (("track", "motion", 0), "flying"),
        (("track", "confidence", 0), 1.2),
        (("stages", 0, "outcome"), "fine"),
        (("findings", 0, "probability"), 1.01),
        (("verdict", "state"), "ok"),
        (("quality", "usable_band_hz"), [40.0]),
    ],
)
def test_the_schema_turns_a_wrong_value_away(path, wrong, validator):
    value = json.loads(json_text(make_invented()))
    place = value
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = wrong
    assert not validator.is_valid(value)


@pytest.mark.parametrize(
    "field", ["format", "track", "stages", "top_speed_rpm", "retries", "findings", "verdict"]
)
def test_the_schema_misses_a_field_that_is_left_out(field, validator):
    value = json.loads(json_text(make_invented()))
    del value[field]
    assert not validator.is_valid(value)


def test_the_text_of_the_json_file_holds_the_result_and_nothing_else(analysis):
    assert json.loads(json_text(analysis)) == result(analysis)


def test_every_array_of_the_track_has_one_entry_per_frame(analysis):
    track = result(analysis)["track"]
    frames = len(analysis.track.time_s)
    for name in ("time_s", "speed_rpm", "standard_uncertainty_rpm", "confidence", "motion"):
        assert len(track[name]) == frames, name


def test_an_unknown_speed_is_null_and_a_drum_at_rest_is_zero():
    speeds = result(make_invented())["track"]["speed_rpm"]
    assert speeds[0] == 0.0
    assert speeds[292] is None


def test_rounding_stays_far_below_the_uncertainty():
    analysis = make_invented()
    written = np.array(result(analysis)["track"]["speed_rpm"], dtype=float)
    known = np.isfinite(analysis.track.speed_rpm)
    # a tenth of a thousandth of the smallest uncertainty in it
    assert np.max(np.abs(written - analysis.track.speed_rpm)[known]) <= 5.1e-4


def test_given_up_ramps_are_counted_only_where_the_speed_is_known():
    assert result(make_invented())["retries"] == 1
    assert result(make_invented())["given_up"] == [{"time_s": 88.0, "speed_rpm": 1290.0}]
    assert result(make_nothing_known())["retries"] is None


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, np.float32("nan")])
def test_a_number_that_is_not_finite_becomes_null(number):
    assert plain({"depth": [number]}) == {"depth": [None]}


def test_numpy_values_become_plain_ones():
    value = plain(
        {"a": np.float64(1.5), "b": np.int64(2), "c": np.array([[1.0, np.nan]]), "d": np.True_}
    )
    assert value == {"a": 1.5, "b": 2, "c": [[1.0, None]], "d": True}
    assert json.dumps(value)


def test_a_value_that_contains_itself_is_refused():
    loop = []
    loop.append(loop)
    with pytest.raises(ValueError, match="nested too deeply"):
        plain(loop)
