"""The law of chance: closed forms against Monte Carlo and against scipy's distributions."""

import numpy as np
import pytest
from scipy import stats

from spinlab.envelope.significance import (
    box_log_survival,
    line_threshold,
    log_any,
    log_survival,
    noise_floor,
)


@pytest.mark.parametrize(
    ("p", "harmonics", "lines", "expected"),
    # chi-square law of a squared envelope line (chi2(2)/2), of three lines (chi2(6)/2), and of
    # the largest of a thousand: computed from the law, Monte Carlo 4.64 and 6.98 for the first two
    [(0.01, 1, 1, 4.605), (0.001, 1, 1, 6.908), (0.01, 3, 1, 8.406), (0.01, 1, 1000, 11.51)],
)
def test_thresholds_follow_the_chi_square_law(p, harmonics, lines, expected):
    found = line_threshold(p, harmonics=harmonics, lines=lines)
    assert found == pytest.approx(expected, abs=0.01)


def squared_envelope_lines(rng, records, size=4096):
    """Lines of the squared envelope spectrum of white noise over their mean."""
    from scipy.signal import hilbert

    envelope = np.abs(hilbert(rng.standard_normal((records, size)), axis=1)) ** 2
    lines = np.abs(np.fft.rfft(envelope - envelope.mean(axis=1, keepdims=True), axis=1)) ** 2
    lines = lines[:, 4 : size // 4]
    # The squared envelope of white noise is not white: its spectrum falls in a straight line.
    return lines / lines.mean(axis=0)


@pytest.mark.parametrize(("p", "threshold"), [(0.01, 4.605), (0.001, 6.908)])
def test_a_squared_envelope_line_of_noise_passes_the_threshold_as_often_as_stated(p, threshold):
    lines = squared_envelope_lines(np.random.default_rng(11), 600)
    assert float(np.quantile(lines, 1 - p)) == pytest.approx(threshold, rel=0.02)


def test_three_harmonics_of_noise_pass_their_threshold_as_often_as_stated():
    lines = squared_envelope_lines(np.random.default_rng(12), 600)
    place = np.arange(20, 330)
    total = lines[:, place] + lines[:, 2 * place] + lines[:, 3 * place]
    assert float(np.quantile(total, 0.99)) == pytest.approx(8.406, rel=0.02)


@pytest.mark.parametrize("shape", [1.0, 1.7, 3.0, 12.0])
@pytest.mark.parametrize("total", [0.5, 2.0, 8.0, 40.0])
def test_the_tail_formula_agrees_with_the_gamma_law(shape, total):
    assert float(log_survival(shape, total)) == pytest.approx(
        stats.gamma.logsf(total, shape), abs=0.05
    )


@pytest.mark.parametrize("floor_shape", [12.0, 50.0])
@pytest.mark.parametrize(("shape", "ratio"), [(1.0, 4.0), (1.0, 11.0), (4.0, 3.0), (10.0, 2.0)])
def test_with_an_estimated_mean_the_tail_is_fishers(floor_shape, shape, ratio):
    expected = stats.f.logsf(ratio, 2 * shape, 2 * floor_shape)
    found = float(log_survival(shape, ratio * shape, floor_shape))
    assert found == pytest.approx(expected, abs=0.05)
    assert found > float(log_survival(shape, ratio * shape)), "a guessed mean makes rare less rare"


def test_the_tail_stays_finite_where_the_probability_underflows():
    assert float(log_survival(2.0, 3000.0)) == pytest.approx(-2992.0, abs=1.0)


@pytest.mark.parametrize("trials", [1, 10, 1000])
def test_many_looks_are_corrected_for_as_sidak_has_it(trials):
    p = 1e-3
    exact = np.log(1 - (1 - p) ** trials)
    assert float(log_any(np.log(p), trials)) == pytest.approx(exact, rel=1e-6)
    assert float(log_any(-200.0, trials)) == pytest.approx(-200.0 + np.log(trials), abs=1e-6)


def hann_lines(rng, size=20_000):
    power = np.abs(np.fft.rfft(rng.standard_normal(size) * np.hanning(size))) ** 2
    return power / power.mean()


@pytest.mark.parametrize("lines", [1, 5, 21])
def test_a_box_of_hann_lines_of_noise_is_as_rare_as_stated(lines):
    rng = np.random.default_rng(13)
    sums = np.concatenate(
        [np.convolve(hann_lines(rng), np.ones(lines), "valid")[:: lines + 3] for _ in range(60)]
    )
    stated = np.exp(box_log_survival(sums, lines))
    for p in (0.1, 0.01):
        count = len(sums) * p
        assert np.sum(stated < p) == pytest.approx(count, abs=4.5 * np.sqrt(count) + 0.12 * count)


def test_the_floor_is_the_mean_of_noise_and_ignores_what_stands_out():
    rng = np.random.default_rng(14)
    level = np.linspace(1.0, 5.0, 10_001)
    power = hann_lines(rng) * level
    power[3000::50] *= 1000.0
    floor = noise_floor(power, 1.0, least_width=200.0, share=0.0)
    assert float(np.mean(floor.level / level)) == pytest.approx(1.0, abs=0.04)
    assert float(np.std(floor.level / level)) < 1.4 / np.sqrt(0.48 * 200)
    assert floor.shape[5000] == pytest.approx(0.48 * 200, rel=0.05)


def test_silence_has_a_floor_above_zero():
    assert float(noise_floor(np.zeros(1000), 1.0).level.min()) > 0
