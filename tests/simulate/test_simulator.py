"""A whole simulated recording and its truth."""

import json
from dataclasses import replace

import numpy as np
import pytest

from spinlab.errors import InputError
from spinlab.simulate import Parameters, load_scenario, simulate, spin_test
from spinlab.simulate.parameters import BearingFault, Drive, Phone, Room, Step, Surroundings

SHORT = spin_test((400.0, 700.0), hold_s=3.0, rise_rpm_per_s=200.0, distribution_s=1.0, coast_s=2.0)
PLAIN = Parameters(programme=SHORT, phone=Phone(rate_hz=8000))


def test_the_same_seed_gives_the_same_bits_and_another_seed_others():
    everything = replace(
        PLAIN,
        bearings=(BearingFault(part="inner"),),
        surroundings=Surroundings(snr_db=0.0, hum_db=0.0, speech_db=0.0, handling_db=0.0),
        phone=Phone(rate_hz=8000, automatic_gain=0.5, noise_suppression=0.5, dropouts=2),
    )
    first, second, other = (simulate(everything, seed) for seed in (11, 11, 12))
    assert first.recording.samples.tobytes() == second.recording.samples.tobytes()
    assert json.dumps(first.truth.to_json()) == json.dumps(second.truth.to_json())
    assert first.recording.samples.tobytes() != other.recording.samples.tobytes()


@pytest.mark.parametrize(("codec", "rate_hz"), [("aac", 16000), ("opus", 16000), ("amr", 8000)])
def test_lossy_files_too_are_the_same_bit_by_bit(codec, rate_hz):
    p = replace(PLAIN, phone=Phone(rate_hz=rate_hz, codec=codec, bit_rate=24000))
    first, second = (simulate(p, 3) for _ in range(2))
    assert first.encoded == second.encoded
    assert first.recording.samples.tobytes() == second.recording.samples.tobytes()


def test_an_acceleration_log_is_the_same_bit_by_bit():
    p = replace(PLAIN, kind="acceleration")
    first, second = (simulate(p, 3).log for _ in range(2))
    assert first.stamp_s.tobytes() == second.stamp_s.tobytes()
    assert first.acceleration_m_s2.tobytes() == second.acceleration_m_s2.tobytes()


def test_a_generator_is_asked_for_one_seed_which_the_truth_repeats():
    made = simulate(PLAIN, np.random.default_rng(5))
    again = simulate(PLAIN, made.truth.seed)
    assert made.recording.samples.tobytes() == again.recording.samples.tobytes()


def test_the_truth_tells_each_plateau_as_the_drum_ran_it():
    made = simulate(PLAIN, 1)
    truth = made.truth
    assert [stage.expected_rpm for stage in truth.stages] == [400.0, 700.0]
    for stage in truth.stages:
        assert stage.reached
        mean = truth.mean_speed_rpm(stage.start_s + 0.3, stage.end_s)
        assert stage.speed_rpm == pytest.approx(mean, abs=0.05)
        # Creep makes the drum a little slower than the command: 0.2 to 1 %.
        assert 0.001 < 1.0 - stage.speed_rpm / stage.expected_rpm < 0.01
    assert truth.faults == {}


def test_speed_and_angle_of_the_truth_agree():
    truth = simulate(PLAIN, 1).truth
    assert np.median(np.diff(truth.time_s)) == pytest.approx(0.01)
    signed = truth.speed_rpm * truth.direction / 60.0
    turns = np.cumsum(0.5 * (signed[1:] + signed[:-1])) * 0.01
    assert np.abs(turns - (truth.turns[1:] - truth.turns[0])).max() < 0.02


def test_the_motor_turns_its_ratio_and_a_little_more():
    truth = simulate(replace(PLAIN, drive=Drive(ratio=10.0)), 1).truth
    assert 10.01 < truth.motor_ratio < 10.1


def test_turning_backward_is_told_by_the_direction_and_speed_stays_positive():
    steps = (
        Step(kind="tumble", rpm=45.0, hold_s=2.0),
        Step(kind="rest", hold_s=2.0),
        Step(kind="tumble", rpm=-45.0, hold_s=2.0),
    )
    truth = simulate(replace(PLAIN, programme=steps), 1).truth
    assert truth.speed_rpm.min() >= 0.0
    assert {-1, 1} <= set(truth.direction.tolist())


def test_a_plateau_out_of_reach_is_told_with_the_speed_really_held():
    made = simulate(replace(PLAIN, drive=Drive(speed_limit_rpm=600.0)), 1)
    low, high = made.truth.stages
    assert low.reached
    assert not high.reached
    assert high.speed_rpm == pytest.approx(598.0, abs=3.0)


def test_a_recording_may_start_in_the_middle_of_a_ramp():
    whole = simulate(PLAIN, 1)
    start_s = 5.0
    late = simulate(replace(PLAIN, phone=Phone(rate_hz=8000, start_s=start_s)), 1)
    assert whole.recording.duration_s - late.recording.duration_s == pytest.approx(
        start_s, abs=0.01
    )
    np.testing.assert_allclose(
        late.truth.speed_rpm[:500], whole.truth.speed_rpm[500:1000], atol=1e-6
    )
    assert late.truth.stages[-1].start_s == pytest.approx(
        whole.truth.stages[-1].start_s - start_s, abs=0.01
    )


def test_a_recording_may_stop_before_the_programme_does():
    made = simulate(replace(PLAIN, phone=Phone(rate_hz=8000, duration_s=12.0)), 1)
    assert made.recording.duration_s == pytest.approx(12.0)
    assert [stage.expected_rpm for stage in made.truth.stages] == [400.0]
    assert made.truth.time_s[-1] < 12.0


def test_given_up_ramps_are_told_with_the_speed_they_got_to():
    truth = simulate(
        replace(load_scenario("gives-up-and-retries"), phone=Phone(rate_hz=8000)), 1
    ).truth
    assert len(truth.retries) == 2
    assert [speed for _, speed in truth.retries] == pytest.approx([260.0, 330.0], rel=0.05)
    for time_s, speed_rpm in truth.retries:
        assert np.interp(time_s, truth.time_s, truth.speed_rpm) == pytest.approx(speed_rpm, abs=1.0)


def test_a_moved_phone_changes_level_where_it_is_moved():
    near = replace(PLAIN, room=Room(distance_m=0.2))
    p = replace(near, phone=Phone(rate_hz=8000, moved_at_s=8.0, moved_to_m=4.0))
    still, moved = (simulate(q, 1).recording.samples[0] for q in (near, p))
    before = np.std(moved[40000:60000]) / np.std(still[40000:60000])
    after = np.std(moved[75000:90000]) / np.std(still[75000:90000])
    assert after < 0.7 * before


def test_two_channels_hear_the_same_machine_from_two_places():
    made = simulate(replace(PLAIN, phone=Phone(rate_hz=8000, channels=2)), 1)
    left, right = made.recording.samples
    assert made.recording.channel_names == ("left", "right")
    assert 0.1 < np.corrcoef(left, right)[0, 1] < 0.98


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"drive": Drive(ratio=0.0)}, "drive.ratio is 0"),
        ({"drive": Drive(torque_limit_nm=float("nan"))}, "torque_limit_nm is nan"),
        ({"phone": Phone(rate_hz=100)}, "phone.rate_hz is 100"),
        ({"phone": Phone(rate_hz=44100, codec="amr")}, "the amr codec takes 8000"),
        ({"phone": Phone(rate_hz=8000, start_s=500.0)}, "at least 1 s must be left"),
        ({"bearings": (BearingFault(severity=2.0),)}, "severity of 0 to 1"),
        ({"bearings": (BearingFault(ball_diameter_mm=50.0),)}, "smaller than their circle"),
        ({"programme": (Step(kind="spin", rpm=90000.0),)}, r"programme\[0\]"),
        ({"programme": (Step(kind="rest", hold_s=5000.0),)}, r"programme\[0\]"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_sentence(change, message):
    with pytest.raises(InputError, match=message):
        simulate(replace(PLAIN, **change), 1)


def test_a_negative_seed_is_refused():
    with pytest.raises(InputError, match="seed is -1"):
        simulate(PLAIN, -1)
