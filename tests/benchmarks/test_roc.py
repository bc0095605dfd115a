"""The curve's area and threshold on scores that can be counted by hand, and on a known law."""

import numpy as np
import pytest

from tests.benchmarks.roc import area, area_interval, threshold
from tests.benchmarks.tables import interval


def test_the_area_is_the_share_of_pairs_in_the_right_order():
    # 3 > 1, 3 > 2, 2 > 1 and one tie (2, 2): 3.5 of 4 pairs, counted by hand.
    assert area([3.0, 2.0], [1.0, 2.0]) == pytest.approx(3.5 / 4)


def test_two_normal_laws_one_sigma_apart_have_the_textbooks_area():
    # Phi(1 / sqrt(2)) = 0.7602, binormal model (Hanley and McNeil 1982, value from memory).
    rng = np.random.default_rng(2)
    found = area(rng.normal(1, 1, 20_000), rng.normal(0, 1, 20_000))
    assert found == pytest.approx(0.7602, abs=0.006)  # three standard errors


def test_an_empty_group_has_no_area():
    assert np.isnan(area([], [1.0]))


def test_the_areas_interval_holds_the_area():
    rng = np.random.default_rng(4)
    bad, good = rng.normal(1, 1, 60), rng.normal(0, 1, 60)
    low, high = area_interval(bad, good)
    assert low < area(bad, good) < high
    assert high - low < 0.25


def test_one_in_a_hundred_healthy_units_may_exceed_the_threshold():
    healthy = np.arange(500) / 500
    limit = threshold(healthy, 0.01)
    assert (healthy > limit).sum() == 5
    assert (healthy > np.nextafter(limit, 0)).sum() == 6


def test_ties_never_raise_the_share_of_false_alarms():
    healthy = np.array([0.0] * 90 + [0.9] * 10)
    assert (healthy > threshold(healthy, 0.01)).sum() == 0


@pytest.mark.parametrize(
    ("part", "whole", "low", "high"),
    # Exact binomial intervals: 0 of n by hand, 1 - 0.025 ** (1 / n); 10 of 100 as in the usual
    # statistical tables (0.0490, 0.1762), value from memory.
    [(0, 500, 0.0, 1 - 0.025 ** (1 / 500)), (10, 100, 0.0490, 0.1762)],
)
def test_a_counted_share_has_the_exact_binomial_interval(part, whole, low, high):
    assert interval(part, whole) == pytest.approx((low, high), abs=5e-5)
