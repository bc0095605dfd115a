"""Phases of open measured logs, and of noise made by formula."""

import itertools

import numpy as np
import pytest

from spinlab.errors import InputError
from spinlab.phases import Phase, cut_phases, parse_correction
from spinlab.phases.clicks import clicks
from spinlab.phases.correct import corrected
from spinlab.phases.features import Features
from spinlab.phases.motion import _splits, motion_pattern
from spinlab.phases.pace import pace
from spinlab.phases.pump import with_pump_sound
from spinlab.phases.settle import drained
from spinlab.reading import read
from spinlab.vibration.loudness import loudness
from tests.courses import drawn, track_of
from tests.vibration.signals import SHARED, sound_of

LOGS = SHARED / "data/washer_accel"


def measured(name):
    path = LOGS / name
    if not path.exists():
        pytest.skip(f"measured log not at {path}")
    recording = read(path)
    return recording, cut_phases(recording)


def test_nothing_is_found_in_a_log_of_a_machine_that_is_off():
    _, found = measured("machine_off.csv")
    assert [phase.label for phase in found.phases] == ["quiet"]


def test_the_wash_motion_of_a_real_machine_is_where_its_readme_says():
    # README of the open log: on about 4-16, 20-33, 38-50, 55-68, 72-84 s
    recording, found = measured("mainwash_and_remove_water.csv")
    bursts = [(p.start_s, p.end_s) for p in found.of("wash motion")]
    times = np.array(bursts) - recording.start_s
    expected = [(4, 16), (20, 33), (38, 50), (55, 68), (72, 84)]
    assert times == pytest.approx(np.array(expected, dtype=float), abs=1.5)
    assert found.motion.regularity > 0.9


def test_the_pump_of_a_real_machine_follows_with_its_lines():
    # README of the open log: until about 85 s wash, then pump with lines near 25 and 42 Hz
    recording, found = measured("mainwash_and_remove_water.csv")
    (pump,) = found.of("pump")
    assert pump.start_s - recording.start_s == pytest.approx(85.0, abs=3.0)
    assert pump.end_s - recording.start_s > 140.0
    assert any(abs(line - 42.0) < 0.3 for line in pump.lines_hz)
    assert not found.of("spin")


def test_constant_lines_of_a_real_start_are_never_called_a_spin():
    # README of the open log: strong from about 17 s, lines at 16.9, 25.2, 42.06 Hz, no drum order
    recording, found = measured("start_centrif.csv")
    assert not found.of("spin")
    strong = max(found.phases, key=lambda phase: phase.duration_s)
    assert strong.start_s - recording.start_s == pytest.approx(17.0, abs=2.5)
    for line in (16.9, 25.2, 42.06):
        assert any(abs(f - line) < 0.25 for f in strong.lines_hz)


def test_phases_cover_the_recording_without_gap_or_overlap():
    _, found = measured("mainwash_and_remove_water.csv")
    edges = [(a.end_s, b.start_s) for a, b in itertools.pairwise(found.phases)]
    assert all(end == pytest.approx(start) for end, start in edges)


def noise(seconds, rate=16000, seed=0):
    return 0.01 * np.random.default_rng(seed).standard_normal(round(seconds * rate))


def test_clicks_are_found_where_they_are():
    x = noise(20)
    rng = np.random.default_rng(1)
    for time in (3.0, 9.5, 15.0):
        first = round(time * 16000)
        x[first : first + 160] += rng.standard_normal(160)
    assert clicks(loudness(sound_of(x, 16000.0))) == pytest.approx((3.0, 9.5, 15.0), abs=0.02)


def test_steady_noise_and_slow_swells_hold_no_clicks():
    x = noise(30) * (1.0 + 3.0 * np.sin(np.arange(480000) / 16000 * 2.0) ** 2)
    assert clicks(loudness(sound_of(x, 16000.0))) == ()


def test_a_click_in_a_room_that_rings_is_found_and_slapping_water_is_none():
    # ISO 3382-2: reverberation of 0.9 s is a fall of 60 dB in that time
    x = noise(30)
    rng = np.random.default_rng(1)
    tail = np.exp(-6.91 / 0.9 * np.arange(14400) / 16000)
    for time in (3.0, 9.5):
        first = round(time * 16000)
        x[first : first + 14400] += 0.25 * tail * rng.standard_normal(14400)
    slaps_db = np.repeat(6.0 * rng.standard_normal(1200), 160)
    rise = np.minimum(1.0, np.minimum(np.arange(192000), np.arange(192000)[::-1]) / 32000.0)
    x[16 * 16000 : 28 * 16000] *= 10.0 ** (rise * (20.0 + slaps_db) / 20.0)
    assert clicks(loudness(sound_of(x, 16000.0))) == pytest.approx((3.0, 9.5), abs=0.02)


def test_an_automatic_gain_that_turns_the_quiet_up_makes_no_motion_of_it():
    # Eight bursts 14 dB above a room that the gain turns up by 8 dB within each pause.
    x = noise(100)
    time = np.arange(len(x)) / 16000
    phase = time % 12.0
    pause = np.where(phase < 4.0, phase / 4.0, 0.0)
    x *= 10 ** (np.where(phase >= 4.0, 14.0, 8.0 * pause) / 20.0)
    found = cut_phases(sound_of(x, 16000.0))
    spans = [(p.start_s, p.end_s) for p in found.of("wash motion")]
    expected = [(12.0 * k + 4.0, 12.0 * k + 12.0) for k in range(8)]
    assert np.array(spans) == pytest.approx(np.array(expected), abs=0.8)


def paced(hz, spans, seconds, seed=0):
    """Noise that swells `hz` times a second within spans, over a quiet room."""
    rng = np.random.default_rng(seed)
    x, time = noise(seconds, seed=seed), np.arange(seconds * 16000) / 16000
    for start, end in spans:
        inside = (time >= start) & (time < end)
        swell = 1.0 + 0.5 * np.cos(2 * np.pi * hz * (time[inside] - start) + rng.uniform(0, 6.28))
        x[inside] += 0.1 * swell * rng.standard_normal(int(inside.sum()))
    return x


def test_the_two_directions_speeds_are_compared_by_the_lifters_pace():
    spans = [(12.0 * k + 4.0, 12.0 * k + 12.0) for k in range(8)]
    x = paced(2.5, spans[::2], 100) + paced(2.2, spans[1::2], 100, seed=1)
    motion = cut_phases(sound_of(x, 16000.0)).motion
    for estimate, true in (
        (motion.first_pace_hz, 2.5),
        (motion.second_pace_hz, 2.2),
        (motion.second_over_first_speed, 0.88),
    ):
        assert abs(estimate.value - true) < 3.0 * estimate.standard_uncertainty
        assert estimate.standard_uncertainty < 0.02 * true


def test_bursts_of_noise_without_a_pace_have_none_in_at_most_a_few_percent():
    spans = [(12.0 * k + 2.0, 12.0 * k + 10.0) for k in range(4)]
    told = sum(
        pace(loudness(sound_of(paced(0.0, spans, 50, seed=k), 16000.0)), spans) is not None
        for k in range(25)
    )
    assert told <= 3  # 99.8 % of Binomial(25, 0.01) lie below


def test_a_tone_that_sinks_as_the_noise_rises_is_told_from_one_that_gurgles_along():
    rng = np.random.default_rng(0)
    time = np.arange(30 * 16000) / 16000
    tone = np.sin(2 * np.pi * 100.0 * time) + 0.5 * np.sin(2 * np.pi * 300.0 * time)
    white = rng.standard_normal(len(time))
    gurgle = np.exp(0.5 * np.repeat(rng.standard_normal(300), 1600)) * white
    air = np.repeat(rng.random(150) < 0.5, 3200)
    whole = Phase(label="pump", start_s=0.0, end_s=30.0, confidence=1.0)
    steady, slugs = (
        with_pump_sound(whole, loudness(sound_of(0.05 * x, 16000.0))).pump
        for x in (
            tone + gurgle,
            np.where(air, 0.4, 1.0) * tone + np.where(air, 1.5, 0.5) * white,
        )
    )
    assert min(steady.together) > 0.5
    assert max(slugs.together) < -0.2


def test_splits_of_many_bursts_are_drawn_over_all_of_them():
    drawn_splits = _splits(20, 10)
    assert len(drawn_splits) == 2000
    with_the_first = np.mean([0 in split for split in drawn_splits])
    assert with_the_first == pytest.approx(0.5, abs=0.04)


def bursts(count, difference, seed=0):
    """Bursts of 8 s with pauses of 4 s; odd and even differ by so many dB in one band."""
    rng = np.random.default_rng(seed)
    spans = [(12.0 * k + 4.0, 12.0 * k + 12.0) for k in range(count)]
    time = np.arange(0.25, 12.0 * count + 4.0, 0.5)
    level = rng.normal(0.0, 1.0, (5, len(time)))
    for k, (start, end) in enumerate(spans):
        inside = (time > start) & (time < end)
        level[:, inside] += 30.0 + rng.normal(0.0, 0.5, (5, 1))
        level[2, inside] += difference * (k % 2)
    features = Features(
        time_s=time,
        bands_hz=np.zeros((5, 2)),
        band_db=level,
        level=10 ** (level.mean(axis=0) / 20),
        steadiness_db=np.ones(len(time)),
    )
    return motion_pattern(features, spans)


def test_on_and_off_times_and_two_directions():
    found = bursts(8, 6.0)
    assert found.on_s.value == pytest.approx(8.0, abs=0.1)
    assert found.off_s.value == pytest.approx(4.0, abs=0.1)
    assert found.directions == "both"


def test_alike_bursts_are_called_two_directions_in_at_most_5_percent():
    called = sum(bursts(8, 0.0, seed=seed).directions == "both" for seed in range(200))
    assert called <= 20  # 99.9 % of Binomial(200, 0.05)


def test_five_bursts_are_too_few_to_tell_two_directions():
    assert bursts(5, 6.0).alternation_p is None


def test_noise_in_a_hole_of_the_speed_track_amid_the_spin_is_no_other_phase():
    rate_hz = 8000.0
    sound = sound_of(np.random.default_rng(3).normal(0, 0.05, int(90 * rate_hz)), rate_hz)
    time_s, speed, sigma = drawn((0, 400), (20, 400), (30, 800), (60, 800), (70, 1200), (90, 1200))
    holes = ((time_s > 22) & (time_s < 27)) | ((time_s > 62) & (time_s < 68))
    track = track_of(time_s, np.where(holes, np.nan, speed), sigma)
    labels = {phase.label for phase in cut_phases(sound, track).phases}
    assert "spin" in labels
    assert labels <= {"spin", "running, not identified"}


def test_the_hiss_of_a_drum_that_starts_is_no_fill():
    rate_hz = 8000.0
    rng = np.random.default_rng(4)
    hiss = rng.normal(0, 0.02, int(60 * rate_hz))
    hiss[: int(6 * rate_hz)] *= 0.01
    hiss[int(20 * rate_hz) :] *= 4.0
    time_s, speed, sigma = drawn((0, 400), (20, 400), (40, 1200), (60, 1200))
    track = track_of(time_s, np.where(time_s < 20, np.nan, speed), sigma)
    found = cut_phases(sound_of(hiss, rate_hz), track)
    assert {phase.label for phase in found.phases} <= {"quiet", "running, not identified", "spin"}


def test_a_correction_replaces_what_it_covers():
    _, found = measured("machine_off.csv")
    fixed = corrected(found, (parse_correction("spin=10-0:20"),))
    assert [(p.label, p.corrected) for p in fixed.phases] == [
        ("quiet", False),
        ("spin", True),
        ("quiet", False),
    ]
    assert (fixed.phases[1].start_s, fixed.phases[1].end_s) == (10.0, 20.0)


def test_a_correction_ends_with_the_recording_and_changes_what_is_said_of_the_drain():
    _, found = measured("machine_off.csv")
    lines = ("pump=10-20", "spin=30-9:00")
    fixed = corrected(found, tuple(parse_correction(line) for line in lines))
    assert [phase.label for phase in fixed.phases] == ["quiet", "pump", "quiet", "spin"]
    assert fixed.phases[-1].end_s == found.phases[-1].end_s
    assert fixed.drained_before_spin is True
    dry = corrected(found, (parse_correction("spin=30-40"),))
    assert dry.drained_before_spin is False


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("whirl=1-2", "is no phase"),
        ("spin", "is no phase"),
        ("spin=1-x", "is no time"),
        ("spin=5-2", "ends before it starts"),
    ],
)
def test_a_correction_that_makes_no_sense_is_refused(text, complaint):
    with pytest.raises(InputError, match=complaint):
        parse_correction(text)


def test_a_second_of_sound_is_too_short():
    assert "shorter than two seconds" in cut_phases(sound_of(noise(1), 16000.0)).reason


def test_a_hiss_that_swells_like_a_drum_on_its_ramp_is_no_fill():
    rng = np.random.default_rng(0)
    time = np.arange(16000 * 24) / 16000
    hiss = np.diff(rng.standard_normal(len(time) + 1))
    steady = cut_phases(sound_of(0.01 * hiss, 16000.0))
    swelling = cut_phases(sound_of(0.01 * hiss * 10 ** (12.0 * time / 24.0 / 20.0), 16000.0))
    assert [phase.label for phase in steady.phases] == ["fill"]
    assert any(rival.cause == "spin" for rival in steady.phases[0].rivals)
    assert not swelling.of("fill")


def test_bursts_without_a_rhythm_are_no_wash_motion():
    # Talk beside a machine that stands: bursts of 1 to 4 s, pauses of 1 to 6 s.
    x = noise(60)
    rng = np.random.default_rng(2)
    for start, end in [(3, 4.5), (7, 11), (12.5, 13.5), (19, 22), (26, 27), (28.5, 32.5), (38, 39)]:
        first, last = round(start * 16000), round(end * 16000)
        x[first:last] += 0.3 * rng.standard_normal(last - first)
    assert not cut_phases(sound_of(x, 16000.0)).of("wash motion")


@pytest.mark.parametrize(
    ("label", "seconds", "told"),
    # a drum that starts to turn is heard for a second or two before it is tracked
    [
        ("running, not identified", 2.0, False),
        ("running, not identified", 8.0, None),
        ("pump", 4.0, None),
        ("pump", 12.0, True),
    ],
)
def test_what_runs_for_a_second_or_two_before_the_spin_drains_nothing(label, seconds, told):
    spans = ((0.0, 30.0, "wash motion"), (30.0, 30.0 + seconds, label), (60.0, 90.0, "spin"))
    phases = [Phase(start_s=a, end_s=b, label=name, confidence=0.9) for a, b, name in spans]
    assert drained(phases) is told
