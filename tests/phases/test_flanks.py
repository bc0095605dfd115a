"""Flanks of bursts, holes in them, hums among them: noise by formula, whose times are known."""

import numpy as np
import pytest

from spinlab.phases import Phase, cut_phases
from spinlab.phases.flanks import sharpened
from spinlab.vibration.loudness import loudness
from tests.vibration.signals import sound_of

RATE = 16000.0
PAUSE, ON = 5.0, 8.0
BURSTS = [(6.0 + k * (PAUSE + ON), 6.0 + k * (PAUSE + ON) + ON) for k in range(6)]


def swinging(time, spans, seed=0, over=20.0):
    """Noise of -40 dB; in the spans more, slapping 2.5 times a second, flanks of 0.8 s."""
    rng = np.random.default_rng(seed)
    size = np.zeros(len(time))
    for start, end in spans:
        size += np.clip(np.minimum(time - start, end - time) / 0.8, 0.0, 1.0)
    slap = 1.0 + 0.8 * np.sin(2 * np.pi * 2.5 * time + 0.3)
    return 0.01 * rng.standard_normal(len(time)) * (1.0 + over * size * slap)


def clock(seconds):
    return np.arange(round(seconds * RATE)) / RATE


def found_in(x):
    return cut_phases(sound_of(x, RATE))


def test_a_burst_lasts_from_its_first_movement_to_its_last():
    # A threshold halfway up flanks of 0.8 s would read 0.8 s less.
    motion = found_in(swinging(clock(90.0), BURSTS, over=4.0)).motion
    assert motion.on_s.value == pytest.approx(ON, abs=0.25)
    assert motion.off_s.value == pytest.approx(PAUSE, abs=0.25)
    assert abs(motion.on_s.value - ON) < 1.96 * motion.on_s.standard_uncertainty


def test_a_sharpened_burst_gives_to_the_pause_what_it_gives_up():
    x = swinging(clock(30.0), [(10.0, 18.0)])
    rough = [
        Phase(label="quiet", start_s=0.0, end_s=8.6, confidence=0.9),
        Phase(label="wash motion", start_s=8.6, end_s=17.1, confidence=0.9),
        Phase(label="quiet", start_s=17.1, end_s=30.0, confidence=0.9),
    ]
    before, burst, after = sharpened(rough, loudness(sound_of(x, RATE)))
    assert burst.start_s == pytest.approx(10.0, abs=0.2)
    assert burst.end_s == pytest.approx(18.0, abs=0.2)
    assert (before.end_s, after.start_s) == (burst.start_s, burst.end_s)


def test_a_flank_without_a_pause_beside_it_is_left_where_it_was():
    rough = [
        Phase(label="pump", start_s=0.0, end_s=8.6, confidence=0.9),
        Phase(label="wash motion", start_s=8.6, end_s=17.1, confidence=0.9),
    ]
    x = swinging(clock(30.0), [(10.0, 18.0)])
    assert sharpened(rough, loudness(sound_of(x, RATE))) == rough


def test_a_gain_that_creeps_up_in_a_long_pause_starts_no_motion():
    # An automatic gain restores 2 dB a second, all bands alike; it drops at once when it is loud.
    bursts = [(6.0 + 27.0 * k, 14.0 + 27.0 * k) for k in range(4)]
    time = clock(115.0)
    since = time - np.max([np.where(time >= end, end, 0.0) for _, end in bursts], axis=0)
    gain_db = np.clip(2.0 * since - 20.0, -20.0, 10.0)
    found = found_in(swinging(time, bursts) * 10.0 ** (gain_db / 20.0))
    heard = [(p.start_s, p.end_s) for p in found.phases if p.label == "wash motion"]
    assert np.array(heard) == pytest.approx(np.array(bursts), abs=0.5)
    assert {p.label for p in found.phases} == {"quiet", "wash motion"}


def test_a_burst_in_which_the_water_falls_silent_for_a_second_is_one():
    time = clock(90.0)
    spans = [(a, b) for a, b in BURSTS if a != BURSTS[2][0]]
    start, end = BURSTS[2]
    x = swinging(time, [*spans, (start, start + 4.5), (start + 5.7, end)])
    motion = found_in(x).motion
    assert len(motion.starts_s) == len(BURSTS)
    assert motion.on_s.value == pytest.approx(ON, abs=0.3)


def test_a_pump_as_long_as_a_burst_is_no_burst():
    # A pump's synchronous motor hums at even multiples of the mains (any textbook on small motors).
    time = clock(90.0)
    x = swinging(time, BURSTS[:5])
    start, end = BURSTS[5]
    hum = sum(np.sin(2 * np.pi * 100.0 * k * time) / k for k in (1, 2, 3, 4))
    x += np.where((time >= start) & (time < end), 0.05 * hum, 0.0)
    x += np.where((time >= start) & (time < end), 1.0, 0.0) * swinging(time, [BURSTS[5]], seed=1)
    found = found_in(x)
    assert len(found.of("wash motion")) == 5
    assert max(p.end_s for p in found.of("wash motion")) < start
