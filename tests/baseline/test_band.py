"""The band of good units, against the law of chance and against odd ones among them."""

import numpy as np
import pytest

from spinlab.baseline.band import LEAST_COUNT, chance, expected, middle_and_spread


def inside_share(count, spreads, *, seed):
    """Counted over 300 baselines of `count` good units and one more, each of 60 places."""
    rng = np.random.default_rng(seed)
    inside = []
    for _ in range(300):
        spread = spreads(rng)
        good = rng.normal(2.0, spread, (count, 60))
        low, high = expected(*middle_and_spread(good), count, confidence=0.95)
        new = rng.normal(2.0, spread, 60)
        inside.append((low <= new) & (new <= high))
    return np.mean(inside)


@pytest.mark.parametrize("count", [5, 8, 20])
def test_one_more_good_unit_lies_within_the_band_as_often_as_it_says(count):
    """Smyth's model (2004, section 3): each place has a spread of its own, drawn by the inverse
    chi-square law; here with eight degrees of freedom about 3 dB."""
    share = inside_share(count, lambda rng: 3.0 * np.sqrt(8.0 / rng.chisquare(8.0, 60)), seed=count)
    assert share == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize("count", [5, 20])
def test_places_that_spread_alike_are_held_within_a_band_that_is_no_narrower(count):
    assert 0.945 <= inside_share(count, lambda rng: 3.0, seed=count) <= 0.98


def test_one_odd_unit_among_the_good_moves_neither_middle_nor_spread_far():
    rng = np.random.default_rng(3)
    good = rng.normal(0.0, 2.0, (9, 60))
    odd = good.copy()
    odd[0] += 20.0
    (middle, spread), (moved, wider) = middle_and_spread(good), middle_and_spread(odd)
    assert np.max(np.abs(moved - middle)) < 3.0
    assert np.median(wider) < 1.5 * np.median(spread)
    assert odd.mean(axis=0).mean() > 2.0, "a mean would have moved"


def test_a_place_that_too_few_hold_has_no_band():
    levels = np.zeros((LEAST_COUNT, 2))
    levels[0, 1] = np.nan
    middle, spread = middle_and_spread(levels)
    assert np.isfinite(middle).tolist() == [True, False]
    assert np.isfinite(spread).tolist() == [True, False]


def test_the_chance_of_a_good_unit_at_the_bands_upper_end_is_one_in_forty():
    levels = np.random.default_rng(4).normal(0.0, 2.0, (7, 30))
    middle, spread = middle_and_spread(levels)
    high = expected(middle, spread, 7, confidence=0.95)[1]
    assert chance(high, middle, spread, 7) == pytest.approx(0.025, rel=1e-6)
