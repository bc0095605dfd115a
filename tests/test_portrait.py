"""What the picture shows is computed from the track by hand-checkable rules."""

import numpy as np
import pytest

from spinlab.portrait import MOST_CURVES, portrait
from spinlab.speed.track import LockedLine
from spinlab.stages import Stage, StageTable
from tests.invented import make_invented, make_nothing_known


@pytest.fixture(scope="module")
def invented():
    return make_invented()


@pytest.fixture(scope="module")
def drawn(invented):
    return portrait(invented.recording, invented.track, invented.stages, invented.machine)


def test_an_order_runs_at_its_multiple_of_the_rotation_rate(drawn):
    # f = order x rpm / 60: 10.4 turns of the motor per drum turn at 1200 rpm are 208 Hz.
    frame = int(np.nanargmin(np.abs(drawn.speed_rpm - 1200)))
    curve = drawn.curves[0]
    assert curve.order == 10.4
    assert curve.frequency_hz[frame] == pytest.approx(10.4 * drawn.speed_rpm[frame] / 60, rel=1e-12)
    assert curve.frequency_hz[frame] == pytest.approx(208.0, rel=2e-3)


def test_at_rest_and_where_the_speed_is_unknown_no_order_is_drawn(drawn):
    hidden = ~(np.nan_to_num(drawn.speed_rpm) > 0)
    assert hidden.any()
    for curve in drawn.curves:
        np.testing.assert_array_equal(np.isnan(curve.frequency_hz), hidden)


def test_the_departure_is_the_speed_less_the_asked_speed_on_plateaus_only(drawn, invented):
    last = invented.stages.stages[-1]
    on_it = (drawn.time_s >= last.start_s) & (drawn.time_s <= last.end_s)
    np.testing.assert_allclose(drawn.departure_rpm[on_it], drawn.speed_rpm[on_it] - 1400.0)
    assert np.isnan(drawn.departure_rpm[drawn.time_s < 17]).all()


def test_the_band_is_two_standard_uncertainties_either_side(drawn):
    known = np.nan_to_num(drawn.speed_rpm) > 0
    np.testing.assert_allclose((drawn.high_rpm - drawn.speed_rpm)[known], 1.2)


def test_the_allowed_band_comes_from_the_machine_profile(drawn):
    # 3 % of 1400 rpm is 42 rpm.
    assert drawn.plateaus[-1].allowed_rpm == pytest.approx(42.0)


def test_the_picture_reaches_above_the_highest_order(drawn):
    highest = max(np.nanmax(curve.frequency_hz) for curve in drawn.curves)
    assert drawn.spectrogram.frequency_hz[-1] > highest


def test_only_the_strongest_lines_are_drawn(invented):
    from dataclasses import replace

    lines = tuple(
        LockedLine(order=k + 1.0, level_db=-20.0 - k, source="drum") for k in range(MOST_CURVES + 4)
    )
    track = replace(invented.track, lines=lines)
    curves = portrait(invented.recording, track, invented.stages).curves
    assert [curve.order for curve in curves] == [1.0, 2.0, 3.0, 4.0, 5.0]


def test_an_extra_plateau_departs_from_its_own_mean(invented):
    stage = Stage(expected_rpm=None, outcome="extra", speed_rpm=400.0, start_s=19.0, end_s=28.0)
    drawn = portrait(invented.recording, invented.track, StageTable(stages=(stage,)))
    known = np.isfinite(drawn.departure_rpm)
    np.testing.assert_allclose(drawn.departure_rpm[known], drawn.speed_rpm[known] - 400.0)
    assert known.any()


def test_a_recording_without_any_speed_still_has_a_spectrogram():
    nothing = make_nothing_known()
    drawn = portrait(nothing.recording, nothing.track, nothing.stages)
    assert not drawn.speed_known
    assert drawn.curves == ()
    assert drawn.spectrogram.frequency_hz[-1] == pytest.approx(50.0)
