"""What is the drum's own: its beats, told from hum and from bearings, its programme, its orders."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from spinlab.recording import Recording
from spinlab.speed.beats import beat_evidence, follow_beats, standing_beats
from spinlab.speed.candidates import Candidate, candidates
from spinlab.speed.evidence import LogGrid
from spinlab.speed.follow import course_of
from spinlab.speed.maps import Maps
from spinlab.speed.modulation import Envelopes, band_envelopes
from spinlab.speed.pieces import (
    LEAST_OWN,
    LEAST_OWN_DOUBTED,
    LEAST_OWN_UNASKED,
    proved,
    still_pieces,
)
from spinlab.speed.programme import programme_evidence
from spinlab.speed.ratio import snapped
from spinlab.speed.reasons import why_relative
from spinlab.speed.scale import ALONE_NATS, scan_scales
from spinlab.speed.shown import Own, supported
from spinlab.speed.weigh import flattened
from tests.speed.test_moving_evidence import refined_of

RATE_HZ = 160.0


def beating(rate_hz_of, *, depth=0.4, second=0.0, rows=3, seconds=60.0, seed=5):
    """Envelopes of noise that beat at a rate which may change."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, seconds, 1.0 / RATE_HZ)
    turns = np.cumsum(rate_hz_of(time_s)) / RATE_HZ
    wave = depth * np.cos(2 * np.pi * turns) + second * np.cos(4 * np.pi * turns)
    values = wave + rng.standard_normal((rows, len(time_s)))
    return Envelopes(rows=values.astype(np.float32), rate_hz=RATE_HZ, start_s=0.0)


def test_the_envelope_of_beating_noise_beats_though_a_louder_tone_stands_in_its_band():
    rng = np.random.default_rng(2)
    time_s = np.arange(0.0, 20.0, 1 / 16000.0)
    noise = rng.standard_normal(len(time_s)) * (1 + 0.2 * np.cos(2 * np.pi * 13.3 * time_s))
    sound = noise + 5.0 * np.sin(2 * np.pi * 1000.0 * time_s)
    recording = Recording(
        kind="sound", samples=sound[None].astype(np.float32), rate_hz=16000.0, start_s=0.0
    )
    rows = band_envelopes(recording, highest_hz=7000.0)
    spectrum = np.abs(np.fft.rfft(rows.rows[-1] * np.hanning(rows.rows.shape[1])))
    found_hz = np.fft.rfftfreq(rows.rows.shape[1], 1 / rows.rate_hz)[np.argmax(spectrum)]
    assert found_hz == pytest.approx(13.3, abs=0.05)
    assert spectrum.max() > 8 * np.median(spectrum)


def test_neighbouring_bands_joined_halve_the_rows_and_keep_the_mean_of_all():
    envelopes = beating(lambda t: np.full(len(t), 10.0), rows=7)
    paired = envelopes.paired()
    assert paired.rows.shape[0] == 4
    assert np.array_equal(paired.rows[-1], envelopes.rows[-1])
    assert np.allclose(paired.rows[0], envelopes.rows[:2].mean(axis=0))


def test_a_beat_that_stands_while_the_speed_changes_says_nothing_of_the_drum():
    levels_s, levels_hz = np.array([0.0, 15.0, 20.0, 35.0, 40.0, 60.0]), [6.7, 6.7, 13, 13, 19, 19]
    course = course_of(
        np.arange(0, 60, 0.3), np.log(np.interp(np.arange(0, 60, 0.3), levels_s, levels_hz))
    )
    hum = beating(lambda t: np.full(len(t), 50.0))
    drum = beating(lambda t: np.interp(t, levels_s, levels_hz))
    assert np.any(np.abs(standing_beats(hum, course)[0] - 50.0) < 0.3)
    assert all(len(row) == 0 for row in standing_beats(drum, course))
    time_s = np.arange(5.0, 56.0, 2.4)
    # at 16.7 Hz the hum is the third order; set aside, it gives next to nothing
    third = np.array([3.0])
    still = course_of(time_s, np.full(len(time_s), np.log(50 / 3)))
    heard = beat_evidence(
        follow_beats(hum, still, time_s, window_s=9.6), np.linspace(2.5, 3.5, 101)
    )
    stands = (np.array([50.0]),) * 3
    deaf = follow_beats(hum, still, time_s, window_s=9.6, stands=stands)
    quiet = beat_evidence(deaf, np.linspace(2.5, 3.5, 101))
    assert third[0] == pytest.approx(
        np.linspace(2.5, 3.5, 101)[np.argmax(heard.sum(axis=0))], abs=0.011
    )
    assert quiet[:, 50].sum() < 0.1 * heard[:, 50].sum()


def scan_of(envelopes):
    time_s = np.arange(0.0, 60.0, 0.3)
    refined = refined_of(np.full(200, np.log(150.0)), orders=())
    course = course_of(time_s, refined.log_hz)
    beats = tuple(
        follow_beats(envelopes, course, np.arange(5.0, 56.0, w / 4), window_s=w)
        for w in (9.6, 19.2)
    )
    return scan_scales(refined, beats, (), range_hz=(5.0, 30.0))


def scores_at(envelopes, wanted):
    scan = scan_of(envelopes)
    return [float(scan.beat[np.argmin(np.abs(scan.factors - f))]) for f in wanted]


@pytest.mark.parametrize("depth", [0.4, 3.0])
def test_the_louder_the_beat_the_better_the_scale_is_known(depth):
    best = candidates(scan_of(beating(lambda t: np.full(len(t), 13.0), depth=depth)))[0]
    assert best.weight > 0.99
    assert best.sigma < 1.5e-3
    assert np.log(best.factor * 150 / 13) == pytest.approx(0.0, abs=1e-3)


def test_a_beat_at_twice_or_three_times_alone_is_no_drum():
    # a bearing or the belt beats at 39 Hz: a drum of 13 Hz would beat at 13 Hz too
    thirds, alone = scores_at(beating(lambda t: np.full(len(t), 13.0)), (13 / 150, 6.5 / 150))
    assert thirds > 3 * ALONE_NATS
    assert alone <= ALONE_NATS + 1.0
    assert alone < thirds


def test_a_programme_tells_its_own_scale_from_others_but_does_not_move_a_reading():
    programme = (400.0, 800.0, 1000.0, 1200.0)
    plateaus = np.repeat(np.log(np.array(programme) * 0.995 * 11.0 / 60.0), 20)
    factors = np.exp(np.arange(np.log(1 / 20), np.log(1 / 6), 0.001))
    evidence = programme_evidence(refined_of(plateaus), factors, programme)
    here = np.argmin(np.abs(factors - 1 / 11.0))
    assert evidence[here] > 6.0
    # a percent of the drum's own speed is for the drum's own evidence to tell
    assert abs(evidence[here + 5] - evidence[here - 5]) < 1.5
    others = np.abs(np.log(factors * 11.0)) > 0.2
    assert evidence[others].max() < evidence[here] - 4.0
    assert not programme_evidence(refined_of(plateaus), factors, ()).any()


def test_without_a_belt_the_lines_are_whole_orders_and_mend_the_scale():
    # slots and pole pairs at orders 24, 48 and 144; the scale is 0.1 % off, known to 0.1 %
    refined = refined_of(np.zeros(30), orders=(24.0, 48.0, 144.0))
    factor, sigma = snapped(refined, 1.001, 0.001)
    assert factor == pytest.approx(1.0, abs=1e-4)
    assert sigma < 3e-4
    # an order so high that its neighbours lie as near says nothing
    far, wide = snapped(refined_of(np.zeros(30), orders=(432.0,)), 1.001, 0.001)
    assert far == pytest.approx(1.001)
    assert wide == pytest.approx(0.001, rel=0.05)


def kept(kin_of_run, *, support=0.0, room=4.0):
    refined = refined_of(np.linspace(0.0, 0.4, 40), heard=1)
    run, kin = np.zeros(40, np.int64), np.zeros((40, 7))
    kin[:] = kin_of_run
    flat = np.full(40, support)
    own = Own(support=flat, beating=flat, kin=kin, room=np.full(40, room))
    return bool(supported(refined, run, own, 10.0).all())


def test_a_run_is_shown_for_its_own_beats_and_not_if_twice_its_speed_beats():
    assert not kept([0.0] * 7)
    assert kept([2.0, 0, 0, 0, 0, 0, 0])
    # support nearby, which half a speed shares, does not outweigh beats at twice the rate
    assert not kept([0.0, 0, 0, 0, 0, 3.0, 0], support=2.0)
    assert kept([0.0] * 7, support=2.0)


def test_beats_at_twice_the_speed_are_its_own_where_it_beats_itself_or_could_not_turn_so_fast():
    assert kept([1.0, 0, 0, 0, 0, 12.0, 0])
    assert kept([0.0, 0, 0, 0, 0, 3.0, 0], support=2.0, room=1.9)
    assert not kept([1.0, 0, 0, 0, 12.0, 0, 0])


def plateau_maps(lines_hz, *, frames=40):
    """Maps of some frames in which lines stand."""
    grid = LogGrid(first_hz=10.0, step=0.005, count=1000)
    values = np.full((frames, 3, 1000), -0.3, np.float16)
    for line_hz in lines_hz:
        values[:, 1, grid.shift_of(line_hz / 10.0)] = 6.0
    return Maps(
        time_s=0.3 * np.arange(float(frames)),
        alphas=np.array([-0.1, 0.0, 0.1]),
        grid=grid,
        lines=values,
        modulation=np.zeros((frames, 3, 100), np.float16),
        present=np.full(1000, 0.4, np.float32),
        steady_hz=np.zeros(0),
        lowest_tone_hz=7.0,
    )


def shown_before(standing_rpm):
    """Whether a run that stands, strongly proved, is shown before one that moves from 400 rpm."""
    rpm = np.concatenate([np.full(30, standing_rpm), np.linspace(400.0, 800.0, 30)])
    refined = refined_of(np.log(rpm / 60.0), heard=1)
    kin = np.zeros((60, 7))
    kin[:, 0] = 4.0
    own = Own(support=np.full(60, 4.0), beating=np.full(60, 4.0), kin=kin, room=np.full(60, 4.0))
    shown = supported(refined, np.repeat([0, 1], 30), own, 1.0)
    assert shown[30:].all()
    return bool(shown[:30].all())


def test_before_the_first_run_that_moves_nothing_that_stands_faster_is_shown():
    # A test steps upwards (common practice, no published source).
    assert shown_before(400.0)
    assert not shown_before(600.0)


def test_strong_evidence_of_its_own_outweighs_a_weak_beat_at_a_multiple():
    kin = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.8]
    assert not kept(kin, support=1.0)
    assert kept(kin, support=10.0)


def test_a_felt_course_is_straight_where_it_stands_and_as_it_was_on_a_ramp():
    rng = np.random.default_rng(4)
    still, ramp = np.full(30, np.log(20.0)), np.log(20.0) + 0.05 * np.arange(1, 21)
    log_hz = np.concatenate([still, ramp]) + 0.004 * rng.standard_normal(50)
    flat = flattened(log_hz, np.zeros(50, np.int64))
    assert np.std(flat[3:25]) < 0.25 * np.std(log_hz[3:25])
    np.testing.assert_array_equal(flat[36:], log_hz[36:])


@pytest.mark.parametrize(
    ("heard_hz", "needed"),
    # lines at 8, 9 and 11.3 times the motor: heard together they fit one speed alone, the middle
    # one by itself would be the first or the third at another
    [((160.0, 180.0, 226.0), LEAST_OWN), ((180.0,), LEAST_OWN_DOUBTED)],
)
def test_a_plateau_that_another_line_would_carry_needs_more_of_the_drums_own(heard_hz, needed):
    refined = refined_of(np.full(40, np.log(20.0)), orders=(8.0, 9.0, 11.3))
    run, maps = np.zeros(40, np.int64), plateau_maps(heard_hz)

    def kept(nats):
        each = np.full(40, nats / 20.0)
        own = Own(support=each, beating=each, kin=np.zeros((40, 0)), room=np.full(40, 4.0))
        return bool(proved(refined, run, own, maps, 0.9).all())

    assert kept(1.05 * needed)
    assert not kept(0.95 * needed)


def test_a_ramp_needs_no_proof_of_its_own():
    refined = refined_of(np.log(20.0) + np.linspace(0.0, 0.5, 40), orders=(8.0, 9.0, 11.3))
    assert still_pieces(refined.log_hz, np.zeros(40, np.int64)) == ()


def test_a_drum_that_is_heard_but_not_known_well_is_not_called_unheard():
    sure = Candidate(factor=0.1, weight=0.99, standout=20.0, measured_standout=20.0)
    none, blurred = np.full(30, np.nan), np.full(30, 0.004)
    assert "no better than to about 0.8 %" in why_relative(none, (sure,), blurred)
    assert "no stretch" in why_relative(none, (sure,), blurred[:0])
    near = replace(sure, factor=0.1012, weight=0.06)
    reason = why_relative(np.full(30, 400.0), (replace(sure, weight=0.9), near), blurred)
    assert "may be 1 % higher" in reason


def test_a_short_stretch_that_beats_more_at_twice_its_speed_is_not_shown():
    # the same evidence of all the path would be an oval drum's, for the scale was chosen for it
    log_hz = np.concatenate([np.linspace(0.0, 0.4, 30), np.linspace(0.4, 1.2, 70)])
    refined, run = refined_of(log_hz, heard=1), np.repeat([0, 1], (30, 70))
    kin = np.zeros((100, 7))
    kin[:30, 0], kin[:30, 5] = 2.0, 12.0
    kin[30:, 0] = 2.0
    flat = np.zeros(100)
    own = Own(support=flat, beating=flat, kin=kin, room=np.full(100, 4.0))
    shown = supported(refined, run, own, 10.0)
    assert not shown[:30].any()
    assert shown[30:].all()


@pytest.mark.parametrize(("second_rpm", "both"), [(1000.0, True), (560.0, False)])
def test_a_drum_that_gains_speed_before_and_after_a_pause_has_lost_little_in_it(second_rpm, both):
    rise = 1.0 + 0.02 * np.arange(30)
    rpm = np.concatenate([600.0 * rise, second_rpm * rise])
    refined = refined_of(np.log(rpm / 60.0), heard=1, gap_after=30)
    kin = np.zeros((60, 7))
    kin[:, 0] = np.repeat([2.0, 4.0], 30)
    flat = np.zeros(60)
    own = Own(support=flat, beating=flat, kin=kin, room=np.full(60, 1.9))
    shown = supported(refined, np.repeat([0, 1], 30), own, 1.0)
    assert shown[30:].all()
    assert bool(shown[:30].all()) is both


@pytest.mark.parametrize(
    ("asked_rpm", "least"),
    [((), LEAST_OWN), ((400.0, 1110.0), LEAST_OWN), ((400.0, 800.0), LEAST_OWN_UNASKED)],
)
def test_a_speed_that_nobody_asked_for_needs_more_proof(asked_rpm, least):
    # a plateau at 1080 rpm, whose lines fit it alone
    refined = refined_of(np.full(40, np.log(20.0)), orders=(8.0, 9.0, 11.3))
    run, maps = np.zeros(40, np.int64), plateau_maps((160.0, 180.0, 226.0))

    def kept(nats):
        each = np.full(40, nats / 20.0)
        own = Own(support=each, beating=each, kin=np.zeros((40, 0)), room=np.full(40, 4.0))
        return bool(proved(refined, run, own, maps, 0.9, asked_rpm).all())

    assert kept(1.05 * least)
    assert not kept(0.95 * least)


@pytest.mark.parametrize(
    ("second_hz", "least"), [(30.0, LEAST_OWN), (19.0, LEAST_OWN), (16.0, LEAST_OWN_UNASKED)]
)
def test_what_stands_before_something_slower_needs_more_proof(second_hz, least):
    # A test steps upwards (common practice, no published source); the second plateau is proved.
    refined = refined_of(np.log(np.repeat([20.0, second_hz], 40)), orders=(8.0, 9.0, 11.3))
    run, maps = np.repeat([0, 1], 40), plateau_maps((160.0, 180.0, 226.0), frames=80)

    def kept(nats):
        each = np.repeat([nats / 20.0, 10.0], 40)
        own = Own(support=each, beating=each, kin=np.zeros((80, 0)), room=np.full(80, 4.0))
        return bool(proved(refined, run, own, maps, 0.9)[:40].all())

    assert kept(1.05 * least)
    assert not kept(0.95 * least)
