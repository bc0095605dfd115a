"""Damage is found and named; what only looks like it is not."""

import numpy as np
import pytest

from spinlab.bearings import BearingGeometry, Competitor, MountedBearing, catalogue, detect
from spinlab.bearings.group import top_speed_hz
from spinlab.findings.bearing_weigh import judge
from spinlab.findings.judge import ATTENTION_FROM
from spinlab.orders import Span
from spinlab.speed.track import Estimate
from tests.bearings.signals import (
    GEOMETRY,
    RATE_HZ,
    REAR,
    STAGES,
    clicks_at_hz,
    impacts,
    noise,
    recording,
    times_of,
    track,
)
from tests.courses import track_of

BPFO, BPFI = GEOMETRY.outer_race_order, GEOMETRY.inner_race_order


def found(values, speed, bearings=(REAR,), **more):
    return detect(recording(values), speed, bearings, **more)


def leaders(evidence):
    return [h for h in evidence.hypotheses if h.log10_p < -4.0]


@pytest.mark.parametrize("points", [((0.0, 1200.0), (20.0, 1200.0)), STAGES])
@pytest.mark.parametrize("fault", ["outer race", "inner race"])
def test_a_race_is_named_at_one_speed_and_over_a_run_up(points, fault):
    speed = track(points)
    order = GEOMETRY.order(fault) * 0.992
    best = found(noise(speed) + impacts(speed, order), speed).hypotheses[0]
    assert (best.bearing, best.fault) == (REAR, fault)
    assert best.log10_p < -8.0
    assert best.order == pytest.approx(order, rel=0.002)
    assert best.share > 0.8


@pytest.mark.parametrize("seed", range(6))
def test_noise_alone_shows_nothing(seed):
    speed = track(STAGES)
    evidence = found(noise(speed, seed), speed)
    assert evidence.reason == ""
    assert evidence.hypotheses[0].log10_p > -3.0, "six seeds, one chance in a thousand each"
    assert all(family.log10_p > -3.0 for family in evidence.unknown)


def test_the_stated_odds_hold_in_noise():
    # 40 recordings of noise: the smallest stated p is rarely under 1/40, never far under
    speed = track(((0.0, 1300.0), (12.0, 1300.0)))
    p = [10.0 ** found(noise(speed, s), speed).hypotheses[0].log10_p for s in range(100, 140)]
    assert min(p) > 2e-4
    assert sum(value < 0.05 for value in p) <= 6


def test_the_floor_of_noise_is_level_down_to_the_lowest_orders_looked_at():
    # A line of noise over its mean follows the unit exponential law, whose mean is one; below,
    # the level of the second around has taken the envelope's strength away.
    speed = track(STAGES)
    curves = [found(noise(speed, seed), speed).curve for seed in range(8)]
    low = np.concatenate([c.level[(c.order > 0.14) & (c.order < 0.3)] for c in curves])
    assert low.mean() == pytest.approx(1.0, abs=0.15)


def test_the_band_found_holds_the_resonance():
    speed = track()
    best = found(noise(speed) + impacts(speed, BPFO), speed).hypotheses[0]
    assert best.band.low_hz <= 4000.0 <= best.band.high_hz
    assert best.band.width_hz < 4000.0


def test_every_stretch_of_a_run_up_carries_its_own_evidence_and_moves_with_speed():
    speed = track(STAGES)
    evidence = found(noise(speed) + impacts(speed, BPFO), speed)
    stages, test = evidence.stages[0], evidence.speed_tests[0]
    assert test.follows == "yes"
    assert test.log10_odds > 3.0
    assert {stage.motion for stage in stages} == {"plateau", "ramp"}
    assert {round(s.speed_rpm, -2) for s in stages if s.motion == "plateau"} == {400, 800, 1300}
    assert sum(stage.log10_p < -2.0 for stage in stages) >= 4


def test_a_line_at_one_frequency_is_not_a_bearing():
    # 51 Hz: where the drum turns at 860 rpm it would be BPFO
    speed = track(((0.0, 860.0), (14.0, 860.0), (18.0, 1250.0), (32.0, 1250.0)))
    rate_hz = BPFO * 860.0 / 60.0
    evidence = found(noise(speed) + clicks_at_hz(speed, rate_hz), speed)
    tests = [t for h, t in zip(evidence.hypotheses, evidence.speed_tests, strict=False)]
    assert evidence.hypotheses[0].log10_p < -4.0, "at 860 rpm it stands on the order of the race"
    assert tests[0].follows == "no"
    assert tests[0].log10_odds < -1.0


def test_at_one_speed_the_move_with_speed_is_called_not_tested():
    speed = track()
    test = found(noise(speed) + impacts(speed, BPFO), speed).speed_tests[0]
    assert test.follows == "not tested"
    assert "one speed only" in test.reason


def test_a_cages_knocks_are_found_though_they_scatter_by_five_percent():
    speed = track(STAGES)
    ftf = GEOMETRY.cage_order
    evidence = found(noise(speed) + impacts(speed, ftf, strength=12.0, slip=0.05), speed)
    first, *_ = leaders(evidence)
    assert first.fault == "cage"
    assert first.order == pytest.approx(ftf, rel=0.02)


def test_noise_that_swells_with_cage_and_balls_is_told_by_both_lines():
    speed = track(STAGES)
    turns = speed.turns_at(times_of(speed))
    ftf = GEOMETRY.cage_order
    swell = 1.0 + 0.014 * (np.cos(2 * np.pi * ftf * turns) + np.cos(2 * np.pi * BPFO * turns))
    evidence = found(noise(speed, 4) * swell, speed)
    assert evidence.roar.ball_pass_line is not None
    assert evidence.roar.cage_line.order == pytest.approx(ftf, rel=1e-3)
    assert evidence.roar.cage_line.log10_p < -3.0
    alone = found(noise(speed, 4), speed)
    assert alone.roar.cage_line.log10_p > -3.0


@pytest.mark.parametrize("seed", range(4))
def test_a_knock_once_a_turn_is_set_aside_and_its_images_are_no_race(seed):
    speed = track(STAGES)
    evidence = found(noise(speed, seed) + impacts(speed, 1.0, strength=12.0, slip=0.0), speed)
    assert not leaders(evidence)
    assert evidence.competitors[0].order == 1.0


def test_two_bearings_with_one_order_are_both_named():
    twin = MountedBearing(
        name="front drum bearing",
        geometry=BearingGeometry(
            designation="twin", balls=9, ball_diameter_mm=8.42, pitch_diameter_mm=40.0
        ),
    )
    speed = track(STAGES)
    evidence = found(noise(speed) + impacts(speed, BPFO * 0.995), speed, (REAR, twin))
    first, second = evidence.hypotheses[:2]
    assert {first.bearing.name, second.bearing.name} == {REAR.name, twin.name}
    assert (second.bearing.name, second.fault) in first.also_fits
    assert first.log10_p == second.log10_p


def test_two_damages_at_once_are_both_found():
    other = MountedBearing(
        name="front drum bearing",
        geometry=BearingGeometry(
            designation="other", balls=7, ball_diameter_mm=9.0, pitch_diameter_mm=36.0
        ),
    )
    speed = track(STAGES)
    values = noise(speed) + impacts(speed, BPFO) + impacts(speed, 2.625, seed=5, ring_hz=5500.0)
    evidence = found(values, speed, (REAR, other))
    assert {(h.bearing.name, h.fault) for h in leaders(evidence)} >= {
        (REAR.name, "outer race"),
        (other.name, "outer race"),
    }


def test_one_race_is_not_taken_for_the_other_by_its_harmonics():
    # 3 x BPFO = 10.67 lies 2 % from 2 x BPFI = 10.89
    speed = track(STAGES)
    evidence = found(noise(speed) + impacts(speed, BPFO * 1.004, strength=8.0), speed)
    assert [(h.bearing.name, h.fault) for h in leaders(evidence)] == [(REAR.name, "outer race")]


def test_an_inner_race_under_a_steady_load_shows_sidebands_of_the_shaft():
    speed = track()
    values = noise(speed) + impacts(
        speed, BPFI, strength=8.0, load=lambda turns: np.maximum(np.cos(2 * np.pi * turns), 0.0)
    )
    best = found(values, speed).hypotheses[0]
    assert best.fault == "inner race"
    assert best.sidebands_log10_p < -6.0
    assert any(line.label == "1 x BPFI + 1 x shaft" for line in best.sidebands)


@pytest.mark.parametrize(("narrow", "slip"), [(1, 0.01), (1, 0.02), (2, 0.005), (2, 0.01)])
def test_an_outer_race_under_a_turning_load_is_not_taken_for_a_ball_beside_it(narrow, slip):
    # BPFO + 1 = 4.556 lies in the ball's range (4.551), and a belt's fifth on BPFO itself
    speed, order = track(STAGES), BPFO / 5
    belt = Competitor(
        cause="belt pass", order=order, standard_uncertainty=0.01 * order, most_places=1
    )
    blows = impacts(
        speed,
        BPFO,
        strength=6.0,
        slip=slip,
        load=lambda turns: np.maximum(np.cos(2 * np.pi * turns), 0.0) ** narrow,
    )
    evidence = found(noise(speed) + blows, speed, competitors=(belt,))
    assert [h.fault for h in leaders(evidence)] == ["outer race"]
    assert any(line.label == "1 x BPFO + 1 x shaft" for line in evidence.hypotheses[0].sidebands)


def test_a_motor_bearing_is_looked_for_at_the_motors_speed():
    geometry = BearingGeometry(
        designation="motor", balls=8, ball_diameter_mm=6.7, pitch_diameter_mm=28.5
    )
    ratio = 10.37
    motor = MountedBearing(
        name="motor drive end bearing",
        geometry=geometry,
        shaft_order=Estimate(value=ratio, standard_uncertainty=0.005),
    )
    speed = track(((0.0, 500.0), (10.0, 500.0), (14.0, 900.0), (30.0, 900.0)), ratio=ratio)
    order = geometry.outer_race_order * ratio * 0.995
    evidence = found(noise(speed) + impacts(speed, order, strength=5.0), speed, (REAR, motor))
    best = evidence.hypotheses[0]
    assert (best.bearing.name, best.fault) == (motor.name, "outer race")
    assert best.order == pytest.approx(order, rel=0.003)


def test_an_unlisted_bearing_is_shown_with_the_rows_that_explain_it():
    speed = track(STAGES)
    order = catalogue.lookup("6304").outer_race_order * 0.995
    evidence = found(
        noise(speed) + impacts(speed, order, strength=6.0), speed, catalogue=catalogue.load()
    )
    # its upper harmonics meet those of the listed one, which explains little of all the lines
    assert max((h.share for h in leaders(evidence)), default=0.0) < 0.35
    assert all(one.probability < ATTENTION_FROM for one in judge(evidence, "sound"))
    family = evidence.unknown[0]
    assert family.order == pytest.approx(order, rel=0.003)
    assert any(
        (row.geometry.designation, row.fault) == ("6304", "outer race") for row in family.rows
    )
    assert not evidence.unknown[1:] or evidence.unknown[1].log10_p > family.log10_p


def test_with_no_bearing_listed_a_blind_search_still_runs():
    speed = track(STAGES)
    evidence = found(noise(speed) + impacts(speed, BPFO), speed, (), catalogue=catalogue.load())
    assert evidence.hypotheses == ()
    assert evidence.unknown[0].order == pytest.approx(BPFO, rel=0.003)


def test_a_known_competing_cause_at_the_families_order_is_named():
    speed = track(STAGES)
    values = noise(speed) + impacts(speed, BPFO)
    belt = Competitor(cause="belt pass", order=BPFO / 4, standard_uncertainty=0.001)
    assert found(values, speed).hypotheses[0].coincides == ()
    best = found(values, speed, competitors=(belt,)).hypotheses[0]
    assert best.coincides == ("4 x belt pass",)


def test_a_belt_explains_a_race_only_with_its_lower_multiples():
    # a single splice beats at every multiple of its own order; blows at the fourth alone are a race
    speed = track(STAGES)
    order = BPFO / 4
    belt = Competitor(
        cause="belt pass", order=order, standard_uncertainty=0.01 * order, most_places=1
    )
    race = found(noise(speed) + impacts(speed, BPFO), speed, competitors=(belt,)).hypotheses[0]
    assert (race.coincides, race.incomplete) == ((), ("4 x belt pass",))
    splice = noise(speed) + impacts(speed, order, strength=12.0, slip=0.0)
    taken = found(splice, speed, competitors=(belt,)).hypotheses[0]
    assert taken.log10_p < -3.0, "its higher multiples are not set aside"
    assert [name.endswith("x belt pass") for name in taken.coincides] == [True]
    assert taken.incomplete == ()


def test_lines_at_simple_fractions_of_a_turn_are_held_against_the_family():
    # a knock at every second reported turn, as when the speed is read at twice the true one
    geometry = BearingGeometry(
        designation="unlucky", balls=7, ball_diameter_mm=10.0, pitch_diameter_mm=36.0
    )
    mounted = MountedBearing(name="rear drum bearing", geometry=geometry)
    speed = track(STAGES)
    values = noise(speed) + impacts(speed, 0.5, strength=25.0, slip=0.0)
    worst = found(values, speed, (mounted,)).hypotheses[0]
    assert worst.log10_p < -4.0, "4.5 per turn lies in the inner race's range"
    assert worst.fractions == 2


def test_the_mains_in_the_envelope_costs_a_band_its_trust():
    speed = track()
    hum = 1.0 + 0.8 * np.cos(2 * np.pi * 100.0 * times_of(speed))
    from scipy.signal import butter, sosfilt

    low = sosfilt(butter(8, 2500.0, "low", fs=RATE_HZ, output="sos"), noise(speed, 8) * hum)
    high = sosfilt(butter(8, 2500.0, "high", fs=RATE_HZ, output="sos"), noise(speed, 9))
    merits = found(low + high, speed).merits
    # Bands of one window share a budget; those of the short one are 1000 Hz wide or more.
    wide = [m for m in merits if m.band.width_hz > 1000.0]
    hummed = [m for m in wide if m.band.high_hz < 2500.0]
    quiet = [m for m in wide if m.band.low_hz > 2500.0]
    assert min(m.mains_db for m in hummed) > 20.0
    assert max(m.weight for m in hummed) < 0.5 * min(m.weight for m in quiet)
    assert sum(m.weight for m in merits) == pytest.approx(1.0)


@pytest.mark.parametrize("mains_hz", [None, 60.0])
@pytest.mark.parametrize("fault", ["outer race", "ball"])
def test_hum_that_meets_a_part_on_one_plateau_is_no_damage(fault, mains_hz):
    # 60 Hz and its multiples beat in the noise; on the last plateau they are the part's order
    rpm = 60.0 * 60.0 / GEOMETRY.order(fault)
    speed = track(((0.0, 400.0), (10.0, 400.0), (14.0, rpm), (30.0, rpm)))
    t = times_of(speed)
    hum = 1.0 + sum(0.4 / k * np.cos(2 * np.pi * 60.0 * k * t) for k in (1, 2, 3))
    evidence = found(noise(speed) * hum, speed, mains_hz=mains_hz)
    assert not leaders(evidence)
    damaged = noise(speed) * hum + impacts(speed, GEOMETRY.order(fault) * 0.992, strength=6.0)
    assert found(damaged, speed, mains_hz=mains_hz).hypotheses[0].fault == fault


def test_at_one_speed_a_race_may_turn_as_fast_as_the_mains():
    # a rig at a constant speed: BPFO at 60 Hz is all that it has to show
    rpm = 60.0 * 60.0 / BPFO
    speed = track(((0.0, rpm), (20.0, rpm)))
    best = found(noise(speed) + impacts(speed, BPFO), speed, mains_hz=60.0).hypotheses[0]
    assert best.fault == "outer race"
    assert "1 x BPFO" in [line.label for line in best.harmonics if line.log10_p < -4.0]


@pytest.mark.parametrize(
    ("speed", "more", "reason"),
    [
        (track(scale="relative"), {}, "known in ratio only"),
        (track(((0.0, 0.0), (20.0, 0.0))), {}, "never known to turn faster than 150 rpm"),
        (track(((0.0, 200.0), (4.0, 200.0))), {}, "only 13 turns"),
        (track(), {"usable_band_hz": (20.0, 700.0)}, "holds nothing usable above 700 Hz"),
    ],
)
def test_what_cannot_be_measured_is_said_with_its_reason(speed, more, reason):
    assert reason in found(noise(speed), speed, **more).reason


def test_a_slow_log_cannot_hold_a_bearings_ringing():
    speed = track()
    slow = recording(np.zeros(2000), kind="acceleration", rate_hz=100.0)
    assert "holds nothing usable above 50 Hz" in detect(slow, speed, (REAR,)).reason


def test_silence_and_a_dead_channel_stay_finite():
    speed = track()
    both = np.stack([np.zeros(len(times_of(speed))), noise(speed)])
    for values in (np.zeros(len(times_of(speed))), both):
        for hypothesis in found(values, speed).hypotheses:
            assert np.isfinite(hypothesis.log10_p)
            assert np.isfinite(hypothesis.least_depth)


def test_times_on_the_files_own_clock_make_no_difference():
    speed = track()
    late = track(((100.0, 1200.0), (120.0, 1200.0)))
    values = noise(speed) + impacts(speed, BPFO)
    early = detect(recording(values), speed, (REAR,)).hypotheses[0]
    shifted = detect(recording(values, start_s=100.0), late, (REAR,)).hypotheses[0]
    assert shifted.log10_p == pytest.approx(early.log10_p, abs=0.5)


def test_a_long_recording_is_thinned_evenly():
    speed = track(((0.0, 400.0), (30.0, 400.0), (34.0, 1000.0), (60.0, 1000.0)))
    evidence = found(noise(speed) + impacts(speed, BPFO), speed, longest_s=20.0)
    assert evidence.analysed_s == pytest.approx(20.0, abs=0.5)
    assert {round(s.speed_rpm, -2) for s in evidence.stages[0]} >= {400, 1000}
    assert evidence.hypotheses[0].log10_p < -6.0


def test_a_stretch_of_unknown_speed_has_no_top_speed():
    unknown = track_of(np.arange(20) * 0.3, np.full(20, np.nan), np.full(20, np.nan))
    assert top_speed_hz(unknown, [Span(1.0, 4.0)]) == 0.0


def test_every_course_that_was_tried_is_charged():
    # Bonferroni: of a thousand tried courses the same p is a thousand times as common
    speed = track(STAGES)
    values = noise(speed) + impacts(speed, BPFO * 0.992, strength=2.0)
    once = found(values, speed).hypotheses[0]
    often = found(values, speed, courses=1000.0).hypotheses[0]
    assert often.log10_p == pytest.approx(once.log10_p + 3.0, abs=0.01)
