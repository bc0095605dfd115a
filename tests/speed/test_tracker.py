"""The tracker as a whole: a rotor made by formula, open measured data, simulated units."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from spinlab.machine import load_machine
from spinlab.reading import read
from spinlab.recording import Recording
from spinlab.speed import track_speed
from spinlab.speed.track import SpeedTrack
from tests.shared_data import shared

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"


def rotor(seed: int, *, hum: float = 0.03, top_rpm: float = 1200.0) -> tuple[Recording, np.ndarray]:
    """A drum with beats, whole orders and a motor at 11.3 times its rate, by formula."""
    rng = np.random.default_rng(seed)
    rate = 16_000
    time = np.arange(40 * rate) / rate
    knots = [0, 2, 8, 15, 19, 27, 30, 36, 40]
    speed = np.interp(time, knots, [0, 0, 400, 400, 800, 800, top_rpm, top_rpm, top_rpm * 0.6])
    angle = 2 * np.pi * np.cumsum(speed / 60) / rate
    level = speed / 1400
    sound = 0.1 * level * rng.normal(size=len(time)) * (1 + 0.3 * np.cos(angle))
    for order, strength in ((2, 0.01), (3, 0.012), (5, 0.01), (11.3, 0.03), (22.6, 0.02)):
        sound += strength * level * np.cos(order * angle + order)
    for multiple in (1, 2, 4):
        sound += hum * np.cos(2 * np.pi * 50 * multiple * time)
    sound += 0.02 * rng.normal(size=len(time))
    samples = (sound / np.abs(sound).max() / 1.2)[None].astype(np.float32)
    return Recording(kind="sound", samples=samples, rate_hz=rate), np.stack([time, speed])


@pytest.fixture(scope="module")
def tracked() -> tuple[Recording, SpeedTrack]:
    """A rotor and its track, made once."""
    recording, _ = rotor(1)
    return recording, track_speed(recording)


def test_each_plateau_of_a_rotor_is_read_within_three_tenths_of_a_percent_despite_hum(tracked):
    _, track = tracked
    assert track.scale == "absolute"
    for start, end, rpm in ((9, 14, 400), (20, 26, 800), (31, 35.5, 1200)):
        inside = (track.time_s > start) & (track.time_s < end) & np.isfinite(track.speed_rpm)
        assert inside.sum() >= 5
        assert track.speed_rpm[inside].mean() == pytest.approx(rpm, rel=0.003)


def test_a_drum_that_stays_below_its_programme_is_read_where_it_is():
    from spinlab.machine import load_machine

    recording, _ = rotor(2, top_rpm=1130.0)
    track = track_speed(recording, load_machine("belt-brushed-1200"))
    inside = (track.time_s > 31) & (track.time_s < 35.5)
    assert np.nanmean(track.speed_rpm[inside]) == pytest.approx(1130.0, rel=0.003)


def changing_orders(seed: int) -> Recording:
    """A drum without beats that sounds other orders on every plateau, beside a louder tone.

    So a tub does whose resonances pick out what falls on them.
    """
    rng = np.random.default_rng(seed)
    rate = 8_000
    time = np.arange(56 * rate) / rate
    knots = [0, 2, 8, 18, 22, 32, 35, 45, 48, 56]
    speed = np.interp(time, knots, [0, 0, 400, 400, 800, 800, 1000, 1000, 1200, 1200])
    angle = 2 * np.pi * np.cumsum(speed / 60) / rate
    sound = 0.3 * np.cos(2 * np.pi * 312.0 * time) + 0.5 * rng.normal(size=len(time))
    for low, high, orders in ((0, 600, (5, 8)), (600, 900, (3, 7)), (900, 1100, (2, 6)),
                              (1100, 9999, (4, 9))):  # fmt: skip
        inside = (speed > max(low, 150)) & (speed <= high)
        for order in orders:
            sound += 0.06 * inside * np.cos(order * angle + order)
    samples = (sound / np.abs(sound).max() / 1.2)[None].astype(np.float32)
    return Recording(kind="sound", samples=samples, rate_hz=rate)


def test_a_drum_is_found_that_sounds_other_orders_on_every_plateau():
    track = track_speed(changing_orders(4))
    assert track.scale == "absolute"
    for start, end, rpm in ((10, 17, 400), (24, 31, 800), (37, 44, 1000), (49, 55, 1200)):
        inside = (track.time_s > start) & (track.time_s < end) & np.isfinite(track.speed_rpm)
        assert inside.sum() >= 5
        assert np.median(track.speed_rpm[inside]) == pytest.approx(rpm, rel=0.003)


def test_noise_and_hum_alone_are_no_drum():
    rng = np.random.default_rng(3)
    time = np.arange(30 * 16_000) / 16_000
    sound = 0.05 * rng.normal(size=len(time)) + 0.1 * np.cos(2 * np.pi * 100 * time)
    recording = Recording(kind="sound", samples=sound[None].astype(np.float32), rate_hz=16_000)
    track = track_speed(recording)
    assert track.scale == "relative"
    assert track.reason
    assert not np.isfinite(track.speed_rpm).any()


def test_the_same_recording_gives_the_same_track(tracked):
    recording, track = tracked
    np.testing.assert_array_equal(track_speed(recording).speed_rpm, track.speed_rpm)


@pytest.mark.parametrize("name", ["lid-log", "unbalanced"])
def test_the_plateaus_of_a_felt_spin_are_read_within_two_tenths_of_a_percent(name):
    # The invented workshop's demo logs, simulated with their truth beside them.
    track = track_speed(read(DEMO / f"{name}.csv"))
    truth = json.loads((DEMO / f"{name}.truth.json").read_text())
    assert track.scale == "absolute"
    plateaus = [s for s in truth["stages"] if s["speed_rpm"] and s["expected_rpm"] >= 800]
    assert len(plateaus) == 4
    for plateau in plateaus:
        inside = (track.time_s > plateau["start_s"] + 0.3) & (track.time_s < plateau["end_s"] - 0.3)
        assert np.isfinite(track.speed_rpm[inside]).mean() > 0.8
        asked = np.interp(track.time_s[inside], truth["time_s"], np.abs(truth["speed_rpm"]))
        assert np.nanmean(track.speed_rpm[inside]) == pytest.approx(asked.mean(), rel=0.002)


def test_a_drum_that_stays_below_its_top_plateau_reads_what_it_did_and_not_what_was_asked():
    # The invented workshop's unit B: 1400 rpm asked, about 1330 held; truth from the simulator.
    track = track_speed(
        read(DEMO / "stage-missed.flac"), load_machine(DEMO / "profiles" / "unit-b.toml")
    )
    truth = json.loads((DEMO / "stage-missed.truth.json").read_text())
    assert track.scale == "absolute"
    plateaus = [s for s in truth["stages"] if s["speed_rpm"]]
    assert len(plateaus) == 5
    for plateau in plateaus:
        inside = (track.time_s > plateau["start_s"] + 0.3) & (track.time_s < plateau["end_s"] - 0.3)
        assert np.isfinite(track.speed_rpm[inside]).mean() > 0.8
        did = np.interp(track.time_s[inside], truth["time_s"], np.abs(truth["speed_rpm"])).mean()
        assert np.nanmean(track.speed_rpm[inside]) == pytest.approx(did, rel=0.005)
    assert np.nanmax(track.speed_rpm) < 1350


@pytest.mark.parametrize("name", ["machine_off", "mainwash_and_remove_water", "start_centrif"])
def test_a_real_washer_log_without_a_visible_drum_order_gives_no_speed(name):
    # Source and truth of the recordings: data/README.md of the shared measured data.
    track = track_speed(read(shared(f"data/washer_accel/{name}.csv")))
    assert not np.isfinite(track.speed_rpm).any()
    assert track.reason


@pytest.mark.parametrize("name", ["washing-machine", "dryer"])
def test_real_appliance_hum_without_a_run_up_is_not_called_a_drum(name):
    track = track_speed(read(shared(f"data/appliance_audio/{name}.mp3")))
    assert not np.isfinite(track.speed_rpm).any()


def test_a_published_sweep_is_followed_against_its_own_reference_channel():
    from scipy.signal import hilbert

    data = np.loadtxt(shared("data/sweep_reference/plateVib.txt"))
    recording = Recording(
        kind="acceleration", samples=data[:, 0][None].astype(np.float32), rate_hz=1280.0
    )
    track = track_speed(recording, rpm_range=(300.0, 3800.0))
    phase = np.unwrap(np.angle(hilbert(data[:, 1])))
    rate = np.gradient(phase) * 1280.0 / 2 / np.pi
    smooth = np.convolve(rate, np.ones(640) / 640, "same")
    truth = 60 * np.interp(track.time_s, np.arange(len(rate)) / 1280.0, smooth)
    error = np.abs(track.speed_rpm / truth - 1)
    known = np.isfinite(error)
    assert known.mean() > 0.6
    assert np.median(error[known]) < 0.005
    assert (error[known] < 0.01).mean() > 0.6


@pytest.mark.parametrize(
    ("name", "rpm"),
    [("1797_Normal", 1797.0), ("1797_IR_7_DE12", 1797.0), ("1730_B_21_DE12", 1730.0)],
)
def test_a_steady_rig_is_read_from_its_shaft_orders(name, rpm):
    # Case Western Reserve University Bearing Data Center; the name states the nominal speed.
    samples = np.ravel(np.load(shared(f"data/cwru/{name}.npz"))["DE"])
    recording = Recording(
        kind="acceleration", samples=(9.81 * samples)[None].astype(np.float32), rate_hz=12_000.0
    )
    track = track_speed(recording, rpm_range=(600.0, 3000.0))
    assert np.nanmedian(track.speed_rpm) == pytest.approx(rpm, rel=0.005)
    assert track.remarks
