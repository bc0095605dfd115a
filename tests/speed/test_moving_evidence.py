"""What moves is told from what stands; a path keeps within reach; evidence is not overstated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from spinlab.speed.comb import comb_evidence
from spinlab.speed.evidence import LogGrid
from spinlab.speed.family import Family, of_drum
from spinlab.speed.follow import Followed
from spinlab.speed.maps import Maps
from spinlab.speed.path import Path, best_path
from spinlab.speed.ratio import RatioPrior, measured_ratio
from spinlab.speed.refine import Refined
from spinlab.speed.relink import relinked
from spinlab.speed.runs import linked, moves, run_numbers
from spinlab.speed.scale import overstatement
from spinlab.speed.standing import standing_cells, without_standing
from spinlab.speed.steady_tones import mains

ALPHAS = np.array([-0.1, 0.0, 0.1])
GRID = LogGrid(first_hz=10.0, step=0.01, count=400)


def refined_of(log_hz, *, gain=20.0, heard=3, orders=(1.0, 2.0), gap_after=None):
    count = len(log_hz)
    time_s = 0.3 * np.arange(count)
    if gap_after is not None:
        time_s[gap_after:] += 3.0
    return Refined(
        time_s=time_s,
        log_hz=np.asarray(log_hz, float),
        sigma=np.full(count, 1e-3),
        gain=np.full(count, float(gain)),
        heard=np.full(count, heard),
        orders=np.array(orders),
        order_sigma=np.full(len(orders), 2e-4),
        strength=np.full(len(orders), 5.0),
    )


def test_a_tone_that_stands_for_seconds_is_set_aside_and_a_ramp_is_not():
    values = np.full((60, 3, 400), -0.3, np.float32)
    values[10:50, :, 300] = 2.0
    for frame in range(60):
        values[frame, 1, 100 + 2 * frame] = 2.0
    stands = standing_cells(values, ALPHAS, GRID, hop_s=0.3)
    assert stands[20:40, 300].all()
    assert not stands[:, 100:190].any()
    without_standing(values, stands, ALPHAS)
    assert (values[20:40, 1, 300] == 0).all()
    assert (values[30, 1, 160]) == 2.0


def test_a_silent_path_is_heard_again_only_within_reach():
    values = np.full((40, 3, 400), -1.0, np.float32)
    values[:15, 1, 100] = 4.0
    # after 1.5 s of silence a tone stands e^1.5 away: louder, but no drum gets there
    values[20:, 1, 250] = 3.5
    values[20:, 1, 120] = 3.0
    path = best_path([values], ALPHAS, step=0.01, hop_s=0.3)
    assert (path.cell[1:14] == 100).all()
    assert (path.cell[22:38] == 120).all()
    values[:15, 1, 100] = -1.0
    alone = best_path([values], ALPHAS, step=0.01, hop_s=0.3)
    assert (alone.cell[22:38] == 250).all()


def test_a_stretch_under_the_wrong_order_is_moved_within_reach_of_the_rest():
    family = Family(offsets=np.array([0, 70]), shares=np.array([0.9, 0.9]))
    cell = np.r_[np.full(30, 200), np.full(20, 275)]
    along = np.full((50, 400), -0.5, np.float32)
    along[:30, 200] = 5.0
    # the second stretch follows the family's upper line; its lower line is at 205
    along[34:, 275] = 5.0
    along[34:, 205] = 4.0
    maps = Maps(
        time_s=0.3 * np.arange(50.0),
        alphas=ALPHAS,
        grid=GRID,
        lines=np.zeros((50, 3, 400), np.float16),
        modulation=np.zeros((50, 3, 100), np.float16),
        present=np.full(400, 0.4, np.float32),
        steady_hz=np.zeros(0),
        lowest_tone_hz=7.0,
    )
    path = Path(cell=cell, alpha=np.ones(50, np.int64), score=1.0)
    joined = relinked(path, along, family, maps)
    assert (joined.cell[:29] == 200).all()
    assert (joined.cell[35:] == 205).all()


@pytest.mark.parametrize("counted", [1.0, 3.0])
def test_evidence_that_counts_more_than_once_is_found_to_be_overstated(counted):
    # a log-likelihood ratio has mean likelihood ratio one under noise, whatever the line's strength
    rng = np.random.default_rng(8)
    ratio, mean_snr = rng.exponential(1.0, 3000), 12.0
    score = ratio * mean_snr / (1 + mean_snr) - np.log(1 + mean_snr)
    logs = 0.02 * np.arange(3000)
    assert overstatement(counted * score, logs) == pytest.approx(counted, rel=0.25)


def parts_of(refined):
    return len(np.unique(linked(refined, run_numbers(refined.time_s, refined.log_hz))))


def test_runs_that_both_gain_speed_do_not_go_on_from_one_another_by_a_fall():
    def runs(second):
        first = 1.0 + 0.02 * np.arange(10)
        refined = refined_of(np.concatenate([first, second + 0.02 * np.arange(10)]))
        # 1.5 s between them
        time_s = refined.time_s + np.where(np.arange(20) < 10, 0.0, 1.2)
        return len(np.unique(linked(replace(refined, time_s=time_s), np.repeat([0, 1], 10))))

    assert runs(1.28) == 1
    assert runs(0.85) == 2


def test_runs_go_on_from_one_another_over_a_gap_if_each_foretells_the_other():
    ramp = np.linspace(0.0, 0.3, 20)
    # the gap holds 3.3 s of the same slope
    after = ramp + 0.3 * 30 / 19
    assert parts_of(refined_of(np.r_[ramp, after], gap_after=20)) == 1
    # one line alone may be another one's after so long
    assert parts_of(refined_of(np.r_[ramp, after], heard=1, gap_after=20)) == 2
    # and lines that follow each other at a constant ratio look the same at another speed
    assert parts_of(refined_of(np.r_[ramp, after + np.log(1.5)], gap_after=20)) == 2


def test_what_never_changes_its_speed_does_not_move():
    still = refined_of(np.zeros(40))
    assert not moves(still, run_numbers(still.time_s, still.log_hz))
    ramp = refined_of(np.linspace(0.0, 0.8, 40))
    assert moves(ramp, run_numbers(ramp.time_s, ramp.log_hz))


def test_faint_whole_orders_choose_the_drum_and_one_foreign_line_does_not():
    factors = np.exp(np.arange(np.log(0.5), np.log(2.0), 0.001))
    rate_hz = np.full(30, 15.0)
    ratio = np.full((30, 4000), 0.7, np.float32)

    def score_of(orders):
        heard = ratio.copy()
        for order in orders:
            place = round(order * 15.0 / 0.1)
            heard[:, place - 1 : place + 2] = 9.0
        low = Followed(
            time_s=1.2 * np.arange(30.0), rate_hz=rate_hz, ratio=heard, bin_hz=0.1, frame_s=2.4
        )
        return comb_evidence((low,), refined_of(np.zeros(30), orders=(40.3,)), factors)

    drum = score_of((2.0, 3.0, 5.0, 7.0))
    assert factors[np.argmax(drum)] == pytest.approx(1.0, rel=0.005)
    foreign = score_of((7.3,))
    assert foreign.max() < 0.5 * drum.max()


def test_the_motors_lines_give_the_ratio_where_its_counts_are_known():
    # 24 bars and the first two orders of a motor that turns 10.87 times per drum turn
    refined = refined_of(np.zeros(30), orders=(10.87, 21.74, 24 * 10.87))
    prior = RatioPrior(
        ratio=10.5, tolerance=0.15, motor_orders=(1.0, 2.0, 24.0, 48.0, 72.0), counted=True
    )
    found = measured_ratio(refined, 1.0, 0.001, prior)
    assert found is not None
    assert found.value == pytest.approx(10.87, abs=3 * found.standard_uncertainty)
    assert found.standard_uncertainty < 0.05
    assert measured_ratio(refined_of(np.zeros(30), orders=(7.7,)), 1.0, 0.001, prior) is None


def test_the_mains_is_told_by_two_of_its_multiples_and_not_by_one():
    both = mains(np.array([100.02, 150.03, 233.0]))
    assert both is not None
    assert both.value == pytest.approx(50.01, abs=0.02)
    assert mains(np.array([100.02, 233.0])) is None
    american = mains(np.array([120.0, 180.1, 240.0]))
    assert american is not None
    assert american.value == pytest.approx(60.0, abs=0.1)


def test_a_family_learned_along_the_drum_has_each_low_order_once_at_its_whole_number():
    step = 0.007
    cells = np.round(np.log([1.0, 2.03, 1.98, 5.0, 7.02, 11.3]) / step).astype(np.int64)
    learned = Family(offsets=np.sort(cells), shares=np.array([0.2, 0.4, 0.3, 0.5, 0.6, 0.7]))
    drum = of_drum(learned, step)
    orders = np.exp(drum.offsets * step)
    assert orders == pytest.approx([1.0, 2.0, 5.0, 7.0, 11.3], rel=step)
    # of two lines that are one, the share of the more frequent one
    assert drum.shares == pytest.approx([0.2, 0.4, 0.5, 0.6, 0.7])
