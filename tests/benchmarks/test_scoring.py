"""What counts as right, refused and a wrong multiple, on tracks and truths drawn by hand."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from tests.benchmarks.population import draw_case, draw_cases
from tests.benchmarks.scoring import Plateau, compare, score
from tests.benchmarks.tables import tally


def truth_of(*corners, motor_ratio=10.0):
    """A drum that follows straight lines between (s, rpm) corners; its flat parts are held."""
    time_s = np.arange(0, corners[-1][0], 0.01)
    speed = np.interp(time_s, *np.array(corners, dtype=float).T)
    flat = [(a, b) for a, b in itertools.pairwise(corners) if a[1] == b[1] > 0]
    return SimpleNamespace(
        time_s=time_s,
        speed_rpm=speed,
        motor_ratio=motor_ratio,
        stages=[SimpleNamespace(speed_rpm=a[1], start_s=a[0], end_s=b[0]) for a, b in flat],
    )


SPIN = truth_of((0, 0), (5, 400), (15, 400), (20, 800), (30, 800), (35, 1600), (45, 1600), (50, 0))


def at(speed_rpm, start_s, end_s, sigma_rpm=0.5):
    return Plateau(speed_rpm=speed_rpm, sigma_rpm=sigma_rpm, start_s=start_s, end_s=end_s)


def test_a_right_plateau_has_its_own_error_and_is_covered():
    found = compare(at(800.4, 21, 29), SPIN)
    assert found["error"] == pytest.approx(0.0005)
    assert found["covered"]
    assert not found["multiple"]


def test_an_interval_that_is_too_narrow_does_not_cover():
    assert not compare(at(801.1, 21, 29), SPIN)["covered"]


@pytest.mark.parametrize("factor", [0.5, 2.0, 3 / 2, 10.0])
def test_simple_fractions_and_the_motors_ratio_are_wrong_multiples(factor):
    assert compare(at(800 * factor, 21, 29), SPIN)["multiple"]


def test_a_gross_error_of_another_kind_is_no_multiple():
    found = compare(at(800 * 1.13, 21, 29), SPIN)
    assert found["error"] == pytest.approx(0.13)
    assert not found["multiple"]


def test_a_standing_tone_across_two_plateaus_is_wrong_though_the_mean_fits():
    mean = float(np.mean(SPIN.speed_rpm[(SPIN.time_s >= 20) & (SPIN.time_s <= 45)]))
    assert abs(compare(at(mean, 20, 45), SPIN)["error"]) > 0.2


def test_a_plateau_where_the_drum_stands_is_wrong_beyond_measure():
    still = truth_of((0, 0), (30, 0), (31, 0))
    assert compare(at(800, 5, 20), still)["error"] > 10


def test_held_plateaus_without_a_reading_are_refused():
    result = score([at(800.1, 21, 29)], SPIN)
    assert (result["held"], result["refused"]) == (3, 2)
    assert result["readings"] == [None, 800.1, None]


def test_what_a_log_cannot_hold_is_not_refused():
    assert score([], SPIN, fastest_rpm=1500.0)["held"] == 2


def test_a_tally_adds_up_and_counts_what_failed():
    right = score([at(800.1, 21, 29), at(200.0, 6, 14)], SPIN)
    t = tally([right, {"error": "stopped"}])
    assert (t.recordings, t.failed, t.measured, t.close, t.gross) == (2, 1, 2, 1, 1)
    assert (t.multiples, t.gross_recordings, t.refused) == (1, 1, 1)


def test_a_longer_run_holds_every_case_of_a_shorter_one():
    assert draw_cases(12)[:5] == draw_cases(5)


def test_every_ratio_and_drive_comes_up_equally_often():
    cases = draw_cases(36)
    for values in ([c.snr_db for c in cases], [c.drive for c in cases], [c.codec for c in cases]):
        _, count = np.unique(values, return_counts=True)
        assert count.min() == count.max()


def test_tuning_and_reported_seeds_never_meet():
    assert draw_case(999, "tuning").seed < draw_case(0, "report").seed
    with pytest.raises(ValueError, match="range holds"):
        draw_case(1000, "tuning")
