"""The stage table, from tracks whose truth is known.

Tracks are drawn along straight lines, or turned by the simulated drum; nothing here listens to a
recording.
"""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.machine import Plateau, load_machine
from spinlab.simulate import load_scenario, random_parameters, random_programme
from spinlab.speed.drumlock import BELT_CREEP_SIGMA
from spinlab.speed.track import Indication
from spinlab.stages import stage_table
from tests.courses import drawn, track_of, track_through, turned

MACHINE = load_machine("belt-brushed-1400")
SPIN = (
    (0, 0), (3, 0), (6, 85), (14, 85), (19, 400), (27, 400), (32, 800), (40, 800), (43, 1000),
    (51, 1000), (54, 1200), (62, 1200), (65, 1400), (75, 1400), (95, 0), (98, 0),
)  # fmt: skip


def outcomes(table):
    return [stage.outcome for stage in table.stages if stage.expected_rpm is not None]


def test_a_sound_spin_reaches_every_stage():
    table = stage_table(track_through(*SPIN), MACHINE)
    assert outcomes(table) == ["reached"] * 5
    assert [stage.expected_rpm for stage in table.stages] == [400, 800, 1000, 1200, 1400]
    assert table.retries == ()


def test_each_stage_has_its_times_dwell_and_rise():
    stage = stage_table(track_through(*SPIN), MACHINE).stages[1]
    # drawn: 400 to 800 rpm from 27 to 32 s, held to 40 s; the spin starts at 3 s
    assert stage.start_s == pytest.approx(32.0, abs=0.4)
    assert stage.end_s == pytest.approx(40.0, abs=0.4)
    # within 3 % of 800 rpm the drum is 24/80 s before it arrives
    assert stage.reached_after_s == pytest.approx(32.0 - 0.3 - 3.0, abs=0.5)
    assert stage.climb_s == pytest.approx(5.0 - 0.3, abs=0.5)
    assert stage.dwell_s == pytest.approx(8.0 + 0.3 + 24 / 66.7, abs=0.5)
    assert stage.allowed_s == 180
    assert stage.rise_rpm_per_s == pytest.approx(80.0, rel=0.05)
    assert stage.overshoot_percent == 0.0


def test_a_plateau_between_the_frames_of_random_machines_reads_its_true_mean():
    inside = total = 0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        parameters = replace(random_parameters(rng), programme=random_programme(rng))
        time_s, speed, sigma, stages = turned(parameters, noise=0.002, seed=seed)
        table = stage_table(track_of(time_s, speed, sigma), MACHINE)
        for truth in stages:
            near = [s for s in table.stages if s.speed_rpm and abs(s.start_s - truth.start_s) < 2.5]
            assert len(near) == 1
            total += 1
            error = near[0].speed_rpm - truth.speed_rpm
            inside += abs(error) <= 2.0 * near[0].standard_uncertainty_rpm + 0.001 * truth.speed_rpm
            assert abs(error) < 0.004 * truth.speed_rpm
    assert total > 30
    assert inside / total > 0.9


def test_a_drum_that_runs_slow_is_off_speed_and_not_missed():
    slow = [(s, 1330 if rpm == 1400 else rpm) for s, rpm in SPIN]
    table = stage_table(track_through(*slow), MACHINE)
    last = table.stages[-1]
    assert outcomes(table) == ["reached"] * 4 + ["off speed"]
    assert last.speed_rpm == pytest.approx(1330, abs=0.5)
    assert last.deviation_rpm == pytest.approx(-70, abs=0.5)
    assert last.reason == (
        "Held 1330 rpm, 70 rpm below the asked 1400 and outside the allowed 42 rpm."
    )


def test_a_speed_at_the_limit_says_that_the_limit_lies_within_the_interval():
    at_limit = [(s, 1358 if rpm == 1400 else rpm) for s, rpm in SPIN]
    stage = stage_table(track_through(*at_limit, noise=0.004), MACHINE).stages[-1]
    assert "interval" in stage.reason


def test_the_top_never_held_is_missed_where_the_drum_is_seen_to_stop():
    table = stage_table(track_through(*SPIN[:12], (82, 0), (85, 0)), MACHINE)
    assert outcomes(table) == ["reached"] * 4 + ["missed"]
    assert table.stages[-1].reason == "The fastest speed held was 1200 rpm."
    assert table.top_speed_rpm == pytest.approx(1200, abs=1)


def test_a_stage_passed_without_holding_it_is_missed():
    passed = [corner for corner in SPIN if corner[1] != 1000]
    table = stage_table(track_through(*passed), MACHINE)
    assert outcomes(table) == ["reached", "reached", "missed", "reached", "reached"]
    assert "went through 1000 rpm at 0:47" in table.stages[2].reason


def test_a_file_that_ends_mid_way_makes_the_later_stages_not_measurable():
    table = stage_table(track_through(*SPIN[:10]), MACHINE)
    assert outcomes(table) == ["reached"] * 3 + ["not measurable"] * 2
    assert "The recording ends at 0:50" in table.stages[-1].reason
    assert table.total_s is None


def test_a_file_that_starts_mid_way_makes_the_earlier_stages_not_measurable():
    table = stage_table(track_through((0, 950), *[(s - 42.5, n) for s, n in SPIN[8:]]), MACHINE)
    assert outcomes(table) == ["not measurable"] * 2 + ["reached"] * 3
    assert "starts with the drum already at 9" in table.stages[0].reason
    assert table.stages[-1].reached_after_s is None
    assert table.stages[2].climb_s is None
    assert table.stages[3].climb_s is not None


def test_a_stage_that_may_hide_in_an_unmeasured_stretch_is_not_measurable():
    time_s, speed, sigma = drawn(*SPIN, noise=0.0005)
    hidden = (time_s > 42) & (time_s < 52)
    table = stage_table(track_of(time_s, np.where(hidden, np.nan, speed), sigma), MACHINE)
    assert outcomes(table) == ["reached", "reached", "not measurable", "reached", "reached"]
    assert "from 0:42 to 0:51" in table.stages[2].reason


def test_speeds_first_heard_during_the_spin_leave_what_came_before_open():
    time_s, speed, sigma = drawn(*SPIN, noise=0.0005)
    table = stage_table(track_of(time_s, np.where(time_s < 29, np.nan, speed), sigma), MACHINE)
    assert outcomes(table)[0] == "not measurable"
    assert "before 0:29" in table.stages[0].reason
    assert outcomes(table)[1:] == ["reached"] * 4


def test_a_plateau_that_the_track_is_not_sure_of_is_no_plateau():
    time_s, speed, sigma = drawn((0, 162), (9, 162), (12, 400), *SPIN[5:], noise=0.0005)
    doubt = np.where(time_s < 9.3, 0.55, 0.95)
    table = stage_table(track_of(time_s, speed, sigma, confidence=doubt), MACHINE)
    assert [s.outcome for s in table.stages] == ["reached"] * 5
    sure = stage_table(track_of(time_s, speed, sigma), MACHINE)
    assert sure.stages[0].outcome == "extra"


def test_doubtful_frames_do_not_prove_that_a_stage_was_left_out():
    time_s, speed, sigma = drawn(*[c for c in SPIN if c[1] != 1000], noise=0.0005)
    doubt = np.where((time_s > 38) & (time_s < 56), 0.2, 0.95)
    table = stage_table(track_of(time_s, speed, sigma, confidence=doubt), MACHINE)
    assert outcomes(table)[2] == "not measurable"


def test_a_speed_too_unsteady_to_be_held_is_not_called_missed():
    time_s, speed, sigma = drawn(*SPIN, noise=0.0005)
    noise = np.random.default_rng(1).normal(0, 0.06, len(speed))
    unsteady = speed * (1 + noise * ((time_s > 41) & (time_s < 53)))
    table = stage_table(track_of(time_s, unsteady, sigma), MACHINE)
    assert table.stages[2].outcome == "not measurable"
    assert "unsteadily" in table.stages[2].reason


def test_a_lapse_of_a_second_does_not_end_the_dwell():
    time_s, speed, sigma = drawn(*SPIN, noise=0.0005)
    lapse = (time_s > 46.5) & (time_s < 47.3)
    lost = np.where(lapse, np.nan, speed)
    stage = stage_table(track_of(time_s, lost, sigma), MACHINE).stages[2]
    assert stage.dwell_s > 8.0
    assert stage.reason == ""


def test_frames_that_scatter_more_than_they_state_are_taken_at_their_scatter():
    time_s, speed, _ = drawn(*SPIN, noise=0.004)
    # stated a tenth of what it is
    stage = stage_table(track_of(time_s, speed, 0.0004 * speed), MACHINE).stages[3]
    # eight seconds hold three or four readings 2.4 s apart
    assert stage.standard_uncertainty_rpm == pytest.approx(0.004 * 1200 / np.sqrt(3.3), rel=0.35)


def test_a_late_stage_is_late_and_says_by_when():
    late = [*SPIN[:6], (227, 400), *[(s + 200, n) for s, n in SPIN[6:]]]
    table = stage_table(track_through(*late), MACHINE)
    assert outcomes(table)[1] == "late"
    assert "where 180 s is allowed" in table.stages[1].reason
    assert table.stages[1].reached_after_s == pytest.approx(229 - 0.5, abs=2)


def test_a_stage_let_go_too_soon_says_so():
    brief = [*SPIN[:7], (34.5, 800), *[(s - 5.5, n) for s, n in SPIN[8:]]]
    stage = stage_table(track_through(*brief), MACHINE).stages[1]
    assert stage.outcome == "reached"
    assert "at least 5 s is asked" in stage.reason


def test_ramps_given_up_are_counted_with_their_speed_and_time():
    retries = ((0, 0), (3, 85), (8, 85), (12, 260), (16, 85), (24, 85), (29, 330), (35, 60))
    later = [(s + 30, n) for s, n in SPIN[2:]]
    table = stage_table(track_through(*retries, *later), MACHINE)
    assert outcomes(table) == ["reached"] * 5
    assert [round(r.time_s) for r in table.retries] == [12, 29]
    assert [r.speed_rpm for r in table.retries] == pytest.approx([260, 330], rel=0.05)


def test_the_simulated_retries_are_found_where_the_truth_has_them():
    time_s, speed, sigma, _ = turned(load_scenario("gives-up-and-retries"), noise=0.001, seed=1)
    found = stage_table(track_of(time_s, speed, sigma), MACHINE).retries
    # the scenario gives up at 260 and at 330 rpm
    assert [r.speed_rpm for r in found] == pytest.approx([260, 330], rel=0.02)


def test_a_ramp_given_up_for_good_is_the_reason_for_what_was_missed():
    table = stage_table(track_through(*SPIN[:6], (30, 640), (40, 0), (45, 0)), MACHINE)
    assert outcomes(table) == ["reached"] + ["missed"] * 4
    assert table.retries == ()
    assert "given up at 6" in table.stages[1].reason
    assert table.top_speed_rpm == pytest.approx(640, rel=0.03)


def test_a_fall_from_a_plateau_and_a_new_attempt_is_a_retry_of_the_programme():
    twice = [*SPIN[:6], (30, 85), (36, 85), *[(s + 22, n) for s, n in SPIN[4:]]]
    table = stage_table(track_through(*twice), MACHINE)
    assert [round(r.speed_rpm) for r in table.retries] == [400]
    extra = [stage for stage in table.stages if stage.outcome == "extra"]
    assert [round(stage.speed_rpm) for stage in extra] == [400]
    assert extra[0].reason.startswith("Held once more")


def test_an_unexpected_plateau_stands_between_the_expected_ones():
    more = [*SPIN[:6], (30, 600), (38, 600), *[(s + 12, n) for s, n in SPIN[6:]]]
    table = stage_table(track_through(*more), MACHINE)
    assert [s.outcome for s in table.stages[:3]] == ["reached", "extra", "reached"]
    assert table.stages[1].speed_rpm == pytest.approx(600, abs=0.5)
    assert table.stages[1].expected_rpm is None


def test_without_a_profile_every_plateau_is_extra_and_says_why():
    table = stage_table(track_through(*SPIN))
    assert [s.outcome for s in table.stages] == ["extra"] * 5
    assert {s.expected_rpm for s in table.stages} == {None}
    assert all("No machine profile" in s.reason for s in table.stages)
    assert [round(s.speed_rpm) for s in table.stages] == [400, 800, 1000, 1200, 1400]


def test_what_is_only_indicated_stands_beside_the_stage_and_measures_nothing():
    shown = tuple(
        Indication(
            start_s=start_s,
            end_s=start_s + 6.0,
            speed_rpm=rpm,
            standard_uncertainty_rpm=0.006 * rpm,
        )
        for start_s, rpm in ((20.0, 404.0), (33.0, 808.0), (66.0, 1330.0))
    )
    unknown = replace(track_through(*SPIN, scale="relative", reason="too faint"), indications=shown)
    unknown = replace(unknown, speed_rpm=np.full(len(unknown.time_s), np.nan))
    stages = stage_table(unknown, MACHINE).stages
    assert {stage.outcome for stage in stages} == {"not measurable"}
    assert all(stage.speed_rpm is None and stage.deviation_rpm is None for stage in stages)
    assert [stage.indicated_rpm for stage in stages] == [404.0, 808.0, None, None, 1330.0]
    assert stages[4].indicated_standard_uncertainty_rpm == pytest.approx(0.006 * 1330)
    without = stage_table(unknown).stages
    assert [stage.indicated_rpm for stage in without] == [404.0, 808.0, 1330.0]
    assert all(stage.expected_rpm is None for stage in without)


def test_an_indication_fills_a_hole_of_a_measured_track_and_nothing_else():
    track = track_through(*SPIN)
    speed, motion = track.speed_rpm.copy(), track.motion.copy()
    hole = (track.time_s > 28) & (track.time_s < 42)
    speed[hole], motion[hole] = np.nan, "unknown"
    shown = tuple(
        Indication(
            start_s=start_s, end_s=end_s, speed_rpm=rpm, standard_uncertainty_rpm=0.006 * rpm
        )
        for start_s, end_s, rpm in ((19.0, 27.0, 402.0), (33.0, 39.0, 803.0), (54.0, 61.0, 1190.0))
    )
    track = replace(track, speed_rpm=speed, motion=motion, indications=shown)
    stages = stage_table(track, MACHINE).stages
    assert [stage.outcome for stage in stages] == ["reached", "not measurable", *["reached"] * 3]
    assert [stage.indicated_rpm for stage in stages] == [None, 803.0, None, None, None]
    assert stages[0].speed_rpm == pytest.approx(400.0, rel=0.001)


def test_a_relative_scale_gives_no_rpm_at_all():
    reason = "the drum-to-motor ratio is not known"
    track = track_through(*SPIN, scale="relative", reason=reason)
    for machine in (MACHINE, None):
        table = stage_table(track, machine)
        assert {s.outcome for s in table.stages} == {"not measurable"}
        assert {s.speed_rpm for s in table.stages} == {None}
        assert {s.reason for s in table.stages} == {"The drum-to-motor ratio is not known."}
        assert table.top_speed_rpm is None


def test_a_track_that_knows_nothing_leaves_every_stage_not_measurable():
    time_s = np.arange(0, 60, 0.3)
    track = track_of(time_s, np.full(len(time_s), np.nan), np.full(len(time_s), np.nan))
    table = stage_table(track, MACHINE)
    assert outcomes(table) == ["not measurable"] * 5
    assert (table.top_speed_rpm, table.total_s, table.coast_down_s) == (None, None, None)


def test_a_drum_that_never_leaves_distribution_misses_every_stage():
    table = stage_table(track_through((0, 0), (3, 0), (6, 85), (30, 85), (34, 0), (40, 0)), MACHINE)
    assert outcomes(table) == ["missed"] * 5


def test_a_log_too_slow_for_a_stage_says_what_folds_onto_what():
    # 1400 rpm is 23.33 Hz; 44 readings a second show it at 44 - 23.33 = 20.67 Hz, as 1240 rpm
    table = stage_table(track_through(*SPIN[:12]), MACHINE, log_rate_hz=44.0)
    reason = table.stages[-1].reason
    assert table.stages[-1].outcome == "not measurable"
    assert "23.3 turns per second" in reason
    assert "20.7 Hz, where 1240 rpm is" in reason


def test_coast_down_and_total_run_from_the_start_to_standstill():
    table = stage_table(track_through(*SPIN), MACHINE)
    # drawn: 1400 rpm from 75 to 95 s is 70 rpm/s; the drum turns from 3 s on
    assert table.coast_down_start_s == pytest.approx(75, abs=0.8)
    assert table.coast_down_s == pytest.approx(20, abs=1)
    assert table.coast_down_rpm_per_s == pytest.approx(-70, rel=0.03)
    assert table.total_s == pytest.approx(92, abs=1)
    assert table.coast_down_to_rpm == 0.0


def test_ripple_is_measured_with_its_rate():
    time_s, speed, sigma = drawn(*[(2 * s, n) for s, n in SPIN], noise=0.0005)
    swing = 8.0 * np.sin(2 * np.pi * 0.4 * time_s)
    speed = speed + swing * ((time_s > 104) & (time_s < 122))
    stage = stage_table(track_of(time_s, speed, sigma), MACHINE).stages[3]
    # a sine's RMS is its amplitude over the square root of two
    assert stage.ripple_percent == pytest.approx(100 * 8 / np.sqrt(2) / 1200, rel=0.12)
    assert stage.ripple_peak_to_peak_percent == pytest.approx(100 * 16 / 1200, rel=0.12)
    assert stage.ripple_rate_hz == pytest.approx(0.4, abs=0.06)
    quiet = stage_table(track_through(*SPIN), MACHINE).stages[3]
    assert quiet.ripple_rate_hz is None
    assert quiet.ripple_percent < 0.12


def test_overshoot_is_the_highest_speed_on_arrival():
    bump = [*SPIN[:11], (54.6, 1236), (56, 1200), *SPIN[11:]]
    stage = stage_table(track_through(*bump, noise=0.0003), MACHINE).stages[3]
    assert stage.overshoot_percent == pytest.approx(3.0, abs=0.6)


def test_a_slow_plateau_counts_where_the_programme_asks_for_it():
    slow = Plateau(rpm=85, tolerance_rpm=10)
    machine = replace(MACHINE, programme=(slow, *MACHINE.programme))
    assert outcomes(stage_table(track_through(*SPIN), machine))[0] == "reached"


def test_the_error_that_all_frames_share_is_not_averaged_away():
    time_s, speed, sigma = drawn(*SPIN, noise=0.003)
    alone = stage_table(track_of(time_s, speed, sigma), MACHINE).stages[3]
    shared = track_of(time_s, speed, sigma, shared_uncertainty=0.003)
    together = stage_table(shared, MACHINE).stages[3]
    assert together.standard_uncertainty_rpm > 1.7 * alone.standard_uncertainty_rpm
    assert together.standard_uncertainty_rpm == pytest.approx(0.003 * 1200, rel=0.05)


def test_motor_lines_share_at_least_what_the_belts_creep_hides():
    time_s, speed, sigma = drawn(*SPIN, noise=0.003)
    by_motor = track_of(time_s, speed, sigma, carried_by=np.full(len(time_s), "motor orders"))
    stage = stage_table(by_motor, MACHINE).stages[3]
    assert stage.standard_uncertainty_rpm > BELT_CREEP_SIGMA * 1200
