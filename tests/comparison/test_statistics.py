"""The arithmetic of differing: against published values, and against counted chance."""

import numpy as np
import pytest
from scipy import stats

from spinlab.comparison.statistics import (
    Level,
    choose,
    effective_segments,
    freedom,
    line_change,
    line_freedom,
    probability,
    room_db,
)


def level(ratio, nu, floor=1e9):
    return Level(ratio=ratio, freedom=nu, floor_freedom=floor)


def test_half_overlapping_hann_segments_carry_what_welch_and_harris_say():
    """Harris 1978 (Proc. IEEE 66, table 1): two Hann windows that overlap by half correlate by
    16.7 %, so a mean over very many has 1 + 2 x 0.167^2 = 1.056 times the variance of
    independent ones (value from memory)."""
    assert effective_segments(1) == 1.0
    assert 10_000 / effective_segments(10_000) == pytest.approx(1.0556, rel=1e-3)


def test_the_spread_of_averaged_hann_spectra_is_as_counted():
    """Counted: 400 averaged spectra of noise, box of five lines, nine half-overlapping segments."""
    rng = np.random.default_rng(1)
    window = np.hanning(257)[:-1]
    sums = []
    for _ in range(400):
        x = rng.standard_normal(256 * 5)
        parts = [x[k * 128 : k * 128 + 256] * window for k in range(9)]
        power = np.mean([np.abs(np.fft.rfft(part)) ** 2 for part in parts], axis=0)
        sums += [power[k : k + 5].sum() for k in range(10, 110, 10)]
    counted = 2 * np.mean(sums) ** 2 / np.var(sums)
    stated = freedom(np.ones(5), effective_segments(9))
    assert stated == pytest.approx(counted, rel=0.08)


def test_a_tone_gives_no_more_freedom_than_its_own_lobe():
    lobe = np.array([0.0, 0.25, 1.0, 0.25, 0.0])
    # A single Fourier line has two degrees of freedom per segment; the lobe's skirts are the same
    # noise seen again.
    assert 2.0 <= freedom(lobe, 1.0) < 3.0


def place_of(line, rng, *, erratic):
    """Power over the floor of five lines around a tone in noise, in 40 Hann segments.

    A steady line has one amplitude; an erratic one is noise itself, another in each segment
    (Bendat and Piersol, Random Data, chapter 8).
    """
    window = np.hanning(257)[:-1]
    amplitude = rng.standard_normal(40) if erratic else np.ones(40)
    tone = np.cos(2 * np.pi * 40 / 256 * np.arange(256) + rng.uniform(0, 2 * np.pi))
    # The tone's power in its place, over that of the noise, is `line`.
    size = np.sqrt(line * 5 * np.sum(window**2) / 1.5) / (0.5 * np.sum(window))
    parts = rng.standard_normal((40, 256)) + size * amplitude[:, None] * tone
    return np.abs(np.fft.rfft(parts * window, axis=1)[:, 38:43]) ** 2 / np.sum(window**2)


@pytest.mark.parametrize("erratic", [False, True])
def test_the_freedom_of_a_line_is_that_of_its_counted_spread_whatever_it_is(erratic):
    """Counted: 400 means over 40 segments; a steady line is ten times better known than an
    erratic one of the same power."""
    rng = np.random.default_rng(8)
    places = [place_of(8.0, rng, erratic=erratic) for _ in range(400)]
    means = np.array([place.mean() for place in places])
    counted = 2.0 * means.mean() ** 2 / means.var()
    stated = [line_freedom(place.mean(axis=0), place.mean(axis=1), 40.0) for place in places]
    assert np.median(stated) == pytest.approx(counted, rel=0.3)


def test_two_equal_lines_differ_as_often_as_fisher_says():
    """Fisher's F law is exact for a ratio of two chi-square means (any handbook of statistics)."""
    rng = np.random.default_rng(2)
    a, b = (rng.chisquare(24, 4000) / 24 for _ in range(2))
    p = np.array(
        [probability(level(x, 24), level(y, 24), take_db=0) for x, y in zip(a, b, strict=True)]
    )
    exact = 2 * np.minimum(stats.f.sf(b / a, 24, 24), stats.f.cdf(b / a, 24, 24))
    assert np.max(np.abs(p - exact)[exact > 1e-3]) < 0.01
    assert np.mean(p < 0.05) == pytest.approx(0.05, abs=0.011)  # three standard deviations


def test_a_line_that_differs_from_take_to_take_is_not_called_changed():
    strong = level(100.0, 600), level(160.0, 600)  # 2 dB apart, sampling alone 0.4 dB
    assert probability(*strong, take_db=0.0) < 0.01
    assert probability(*strong, take_db=2.0) > 0.3


def test_noise_at_a_place_differs_from_take_to_take_only_where_the_room_shapes_it():
    noise = level(0.5, 120), level(0.8, 120)
    assert probability(*noise, take_db=6.0) < 0.02
    assert probability(*noise, take_db=6.0, noise_too=True) > 0.5


@pytest.mark.parametrize(("before", "after"), [(10.0, 10.0), (30.0, 3.0), (2.0, 8.0)])
def test_the_interval_holds_the_true_change_as_often_as_it_says(before, after):
    """Lines of known power in noise, drawn by the chi-square law: 95 % or more must hold it."""
    rng = np.random.default_rng(3)
    true_db = 10 * np.log10(after / before)
    held = 0
    for _ in range(400):
        read = [level((1 + x) * rng.chisquare(30) / 30, 30) for x in (before, after)]
        got = line_change(*read, take_db=0.0, confidence=0.95, quantiles=(60, 9))
        held += (got.low_db is None or got.low_db <= true_db) and (
            got.high_db is None or true_db <= got.high_db
        )
    assert 0.92 <= held / 400 <= 1.0
    assert held < 400 or before == after  # an interval that always holds says nothing


def test_a_line_that_has_vanished_is_down_without_a_lower_end():
    got = line_change(level(20.0, 60), level(0.95, 60), take_db=0.0, confidence=0.95)
    assert got.low_db is None
    assert got.high_db < -8.0


def test_nothing_against_nothing_is_bounded_on_neither_side():
    got = line_change(level(1.0, 60), level(1.0, 60), take_db=0.0, confidence=0.95)
    assert (got.low_db, got.high_db) == (None, None)


def test_the_choice_among_many_tests_is_benjamini_and_hochbergs():
    """Their own example (1995, section 3.2): 15 ordered probabilities of which, at 0.05, the
    first four are chosen where Bonferroni chooses three."""
    published = [
        *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
        *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000),
    ]
    chosen = choose(published, error_rate=0.05)
    assert chosen.claimed.tolist() == [True] * 4 + [False] * 11
    # Benjamini and Yekutieli 2005: intervals of R chosen among m hold at 1 - R q / m.
    assert chosen.confidence == pytest.approx(1 - 4 * 0.05 / 15)


def test_a_rooms_spread_is_schroeders():
    """Schroeder 1954: the level of a pure tone has a standard deviation of 5.57 dB over the
    places of a reverberant field."""
    assert room_db(1) == pytest.approx(5.57, abs=0.01)
    assert room_db(0.5) == room_db(1)
