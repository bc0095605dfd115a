"""The population of random machines."""

import numpy as np
import pytest

from spinlab.simulate import random_parameters, simulate
from spinlab.simulate.bounds import check_parameters


def population(count=200, **options):
    return [random_parameters(np.random.default_rng(seed), **options) for seed in range(count)]


def test_every_draw_is_healthy_and_makes_sense():
    for p in population():
        check_parameters(p, 0)
        assert p.faults == {}


def test_belt_ratios_lie_between_eight_and_thirteen():
    # Belt-drive ratio motor to drum 8:1 to 13:1: IEEE 6063790.
    ratios = [p.drive.ratio for p in population() if p.drive.kind != "direct"]
    assert 8.0 <= min(ratios) < 9.5
    assert 12.0 < max(ratios) <= 13.0


def test_tubs_resonate_between_two_and_six_hertz():
    for p in population(50):
        for natural_hz in (p.tub.horizontal_hz, p.tub.vertical_hz, p.tub.nodding_hz):
            assert 2.0 <= natural_hz <= 6.0


def test_all_drives_come_up_and_one_can_be_chosen():
    assert {p.drive.kind for p in population(40)} == {"brushed", "three_phase", "direct"}
    assert {p.drive.kind for p in population(10, drive="direct")} == {"direct"}


def test_modulation_is_between_three_and_forty_percent_and_apart_from_motor_level():
    machines = population(1000)
    index = np.array([max(band.index for band in p.voice.bands) for p in machines])
    motor = np.array([p.voice.motor_db for p in machines])
    every = [band.index for p in machines for band in p.voice.bands]
    assert min(every) >= 0.03
    assert max(every) <= 0.4
    assert abs(np.corrcoef(index, motor)[0, 1]) < 0.1
    weak, strong = index < 0.1, index > 0.25
    quiet, loud = motor < -11.0, motor > -2.0
    for group in (weak & quiet, weak & loud, strong & quiet, strong & loud):
        assert group.sum() >= 3


def test_what_is_asked_for_is_what_comes():
    p = random_parameters(
        np.random.default_rng(0),
        snr_db=-5.0,
        noises=("speech", "pump"),
        mains_hz=60.0,
        rate_hz=48000,
        codec="aac",
        reverberation_s=0.7,
        rated_rpm=1600.0,
        start_mid_ramp=True,
    )
    around = p.surroundings
    assert around.snr_db == -5.0
    assert None not in (around.speech_db, around.pump_db)
    assert (around.hum_db, around.fan_db, around.babble_db) == (None, None, None)
    assert (around.mains_hz, p.phone.rate_hz, p.phone.codec) == (60.0, 48000, "aac")
    assert p.room.reverberation_s == 0.7
    assert p.programme[-2].rpm == 1600.0
    assert p.phone.start_s >= 4.0


def test_the_same_generator_state_draws_the_same_machine():
    first, second = (random_parameters(np.random.default_rng(4)) for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("length", "low_s", "high_s"), [("short", 18, 55), ("usual", 40, 120), ("long", 100, 240)]
)
def test_lengths_are_as_named(length, low_s, high_s):
    from spinlab.simulate.programme import command

    durations = [command(p.programme).duration_s for p in population(60, length=length)]
    assert low_s < min(durations)
    assert max(durations) < high_s


def test_most_random_machines_reach_their_plateaus():
    stages = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        made = simulate(random_parameters(rng, length="short", rate_hz=8000), rng)
        stages += made.truth.stages
    assert np.mean([stage.reached for stage in stages]) > 0.8
