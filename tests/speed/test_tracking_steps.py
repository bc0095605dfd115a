"""The steps of speed tracking, each against a truth made here by formula."""

from __future__ import annotations

import numpy as np
import pytest

from spinlab.speed.beat_kernels import BeatKernels
from spinlab.speed.chirp import alpha_grid, warped_power
from spinlab.speed.evidence import LogGrid, family_evidence, line_evidence, noise_floor
from spinlab.speed.follow import course_of, follow
from spinlab.speed.path import best_path
from spinlab.speed.phase import phase_correction
from spinlab.speed.ratio import RatioPrior, ratio_evidence
from spinlab.speed.refine import Refined
from spinlab.speed.scale import whole_order_evidence
from spinlab.speed.steady import shaft_rate


def chirp(rate_hz: float, seconds: float, first_hz: float, alpha: float) -> np.ndarray:
    """A tone at first_hz in the middle whose frequency grows by the share alpha per second."""
    t = np.arange(int(rate_hz * seconds)) / rate_hz - seconds / 2
    return np.cos(2 * np.pi * first_hz * (t + 0.5 * alpha * t**2)).astype(np.float32)


def test_a_chirp_is_sharpest_at_its_own_chirp_rate():
    alphas = alpha_grid()
    signal = chirp(1000.0, 3.0, 120.0, float(alphas[-6]))
    power, bin_hz = warped_power(
        signal, np.array([1500]), alphas, frame=1000, rate_hz=1000.0, highest_hz=400.0
    )
    best, where = np.unravel_index(np.argmax(power[0]), power[0].shape)
    assert abs(int(best) - (len(alphas) - 6)) <= 1
    assert where * bin_hz == pytest.approx(120.0, abs=1.0)


def test_kernels_give_white_noise_its_own_variance():
    rng = np.random.default_rng(1)
    signal = rng.normal(0.0, 3.0, 40_000).astype(np.float32)
    kernels = BeatKernels.of(np.array([7.0, 19.0]), np.array([0.0, 0.1]), frame=256, rate_hz=160.0)
    powers = dict(kernels.powers(signal[None], np.arange(300, 39_000, 150)))
    assert sorted(powers) == [-1, 0, 1]
    for power in powers.values():
        assert power.mean() == pytest.approx(9.0, rel=0.12)


@pytest.mark.parametrize("frame", [255, 256])
def test_kernels_read_a_beat_that_falls_at_the_falling_chirp_rate_alone(frame: int):
    rate_hz, alpha, cells_hz = 160.0, 0.4, np.array([18.0, 20.0, 22.0])
    time_s = (np.arange(1600) - 800) / rate_hz
    falling = np.cos(2 * np.pi * 20.0 * (time_s - 0.5 * alpha * time_s**2)).astype(np.float32)
    kernels = BeatKernels.of(cells_hz, np.array([0.0, alpha]), frame=frame, rate_hz=rate_hz)
    powers = {k: p[0, 0] for k, p in kernels.powers(falling[None], np.array([800]))}
    # a Hann window of n samples, weighted to unit energy, gathers n / 3 of a cosine's square
    assert powers[-1][1] == pytest.approx(frame / 6, rel=0.02)
    assert max(powers[0][1], powers[1][1], powers[-1][0], powers[-1][2]) < 0.5 * powers[-1][1]


def test_the_noise_floor_of_noise_is_its_mean_and_passes_under_a_line():
    rng = np.random.default_rng(2)
    power = rng.exponential(2.0, (200, 600)).astype(np.float32)
    power[:, 300] = 5000.0
    floor = noise_floor(power, 1.0, width_hz=80.0)
    assert floor.mean() == pytest.approx(2.0, rel=0.1)
    assert floor[:, 300].mean() == pytest.approx(2.0, rel=0.15)


def test_evidence_of_noise_alone_is_negative_on_average_and_of_a_line_positive():
    rng = np.random.default_rng(3)
    noise = line_evidence(rng.exponential(1.0, 100_000).astype(np.float32))
    line = line_evidence(rng.exponential(13.0, 100_000).astype(np.float32))
    assert noise.mean() < -0.2
    assert line.mean() > 2.0


def test_a_family_gathers_its_orders_by_shifts_of_the_log_grid():
    grid = LogGrid(first_hz=1.0, step=0.01, count=600)
    lines = np.full((1, 600), -0.3, np.float32)
    for order in (1, 2, 3):
        lines[0, grid.cell_of(10.0 * order)] = 5.0
    total = family_evidence(lines, grid, np.array([1.0, 2.0, 3.0]), count=400, lowest_hz=5.0)
    assert abs(int(np.argmax(total[0])) - grid.cell_of(10.0)) <= 1


def test_the_path_follows_a_ramp_through_noise_and_keeps_silent_where_nothing_is():
    rng = np.random.default_rng(4)
    alphas = np.array([-0.2, -0.1, 0.0, 0.1, 0.2])
    evidence = rng.normal(-1.5, 0.7, (80, 5, 300)).astype(np.float32)
    cell = 60.0
    truth = np.full(80, -1)
    for t in range(20, 70):
        a = 3 if t < 50 else 2
        truth[t] = round(cell)
        evidence[t, a, truth[t]] += 6.0
        cell += alphas[a] * 0.3 / 0.01
    path = best_path([evidence[:30], evidence[30:]], alphas, step=0.01, hop_s=0.3)
    assert (np.abs(path.cell[21:69] - truth[21:69]) <= 1).all()
    assert (path.cell[:18] == -1).all()
    assert (path.cell[72:] == -1).all()


def test_along_its_course_a_sweep_stands_at_its_order():
    t = np.arange(20_000) / 1000.0
    rate = 10.0 * np.exp(0.08 * t)
    signal = np.cos(2 * np.pi * 3.0 * np.cumsum(rate) / 1000.0).astype(np.float32)
    knots = np.arange(0.0, 20.0, 0.3)
    course = course_of(knots, np.log(10.0) + 0.08 * knots)
    times = np.arange(3.0, 17.0, 1.0)
    (followed,) = follow(
        signal[None], 1000.0, 0.0, course, times, frame_s=2.0, highest_hz=200.0, floor_width_hz=40.0
    )
    peak = followed.ratio.argmax(axis=1) * followed.bin_hz / followed.rate_hz
    assert peak == pytest.approx(np.full(len(times), 3.0), rel=0.01)


def test_the_phase_of_a_strong_line_gives_the_rate_to_a_hundredth_of_a_percent():
    rng = np.random.default_rng(5)
    t = np.arange(4000) / 100.0
    signal = (np.cos(2 * np.pi * 20.03 * t) + 0.1 * rng.normal(size=4000)).astype(np.float32)
    knots = np.arange(0.0, 40.0, 0.3)
    course = course_of(knots, np.full(len(knots), np.log(20.2)))
    correction, sigma = phase_correction(signal, 100.0, 0.0, course, np.arange(5.0, 35.0, 0.5))
    assert 20.2 * np.exp(np.median(correction)) == pytest.approx(20.03, rel=2e-4)
    assert (sigma < 5e-3).all()


def lines_of(orders: list[float]) -> Refined:
    count = len(orders)
    return Refined(
        time_s=np.arange(10.0),
        log_hz=np.zeros(10),
        sigma=np.full(10, 0.001),
        gain=np.full(10, 9.0),
        heard=np.full(10, count),
        orders=np.array(orders),
        order_sigma=np.full(count, 2e-4),
        strength=np.full(count, 5.0),
    )


def test_whole_orders_choose_the_drum_over_its_half_its_double_and_the_motor():
    refined = lines_of([2.0, 3.0, 5.0, 11.37, 22.74])
    factors = np.array([0.5, 1.0, 2.0, 11.37, 11.37 / 2])
    score = whole_order_evidence(refined, factors)
    assert int(np.argmax(score)) == 1
    # the half doubles three orders and so loses ln 2 for each, less what chance keeps
    assert score[1] - np.delete(score, 1).max() > 0.5 * 3 * np.log(2.0)


def test_a_known_ratio_chooses_the_scale_that_puts_the_motor_in_its_place():
    refined = lines_of([1.0, 2.0, 12.0])
    prior = RatioPrior(ratio=11.0, tolerance=0.02, motor_orders=(1.0, 2.0, 12.0))
    # ln(factor) in steps of a thousandth, as the scan has them
    factors = np.exp(np.arange(np.log(1 / 14.0), 0.05, 0.001))
    score = ratio_evidence(refined, factors, prior)
    # any ratio within the tolerance is as likely, so all factors within it are
    best = factors[score > score.max() - 1.0]
    assert best.min() == pytest.approx(1 / 11.0, rel=0.021)
    assert best.max() == pytest.approx(1 / 11.0, rel=0.021)
    double = score[np.argmin(np.abs(factors - 1 / 5.5))]
    assert score.max() - double > 3.0


def test_a_steady_rig_is_read_from_its_shaft_orders_and_mains_is_not():
    rng = np.random.default_rng(6)
    t = np.arange(120_000) / 12_000.0
    shaft = sum(np.cos(2 * np.pi * 29.4 * k * t + k) for k in (1, 2, 3, 4))
    hum = sum(np.cos(2 * np.pi * 60.0 * k * t) for k in (1, 2, 3, 4))
    noise = rng.normal(size=len(t))
    found = shaft_rate((0.3 * shaft + noise).astype(np.float32), 12_000.0, range_hz=(5.0, 40.0))
    assert found is not None
    assert found[0] == pytest.approx(29.4, rel=2e-3)
    only_hum = shaft_rate((0.3 * hum + noise).astype(np.float32), 12_000.0, range_hz=(5.0, 40.0))
    assert only_hum is None
