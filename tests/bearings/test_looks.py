"""Sidebands, and parts of a recording by themselves: what harmonics alone do not show."""

import numpy as np
import pytest

from spinlab.bearings import Competitor, detect, stagewise
from spinlab.bearings.families import family_lines
from spinlab.bearings.patterns import HIGHEST, counted, harmonics_pattern, sidebands_pattern
from tests.bearings.signals import (
    GEOMETRY,
    REAR,
    STAGES,
    impacts,
    noise,
    recording,
    times_of,
    track,
)

BPFO, BPFI = GEOMETRY.outer_race_order, GEOMETRY.inner_race_order


def narrow_load(turns):
    """A load zone of half a turn, felt by an inner ring that turns with the shaft."""
    return np.maximum(np.cos(2 * np.pi * turns), 0.0)


@pytest.mark.parametrize("strength", [1.5, 2.5])
def test_an_inner_race_whose_power_lies_in_sidebands_is_not_taken_for_a_ball(strength):
    # (BPFI - 1) = 4.444 and its multiples lie in the range of 2xBSF = 4.55
    speed = track()
    blows = impacts(speed, BPFI, strength=strength, load=narrow_load)
    first, *rest = detect(recording(noise(speed) + blows), speed, (REAR,)).hypotheses
    assert first.fault == "inner race"
    assert first.order == pytest.approx(BPFI, rel=0.003)
    assert first.log10_p < -10.0
    assert all(other.log10_p > -3.0 for other in rest)


def test_damage_heard_at_the_slow_plateau_alone_is_found_there():
    # a fifth of the turns: over the whole recording its lines are 14 dB weaker
    speed = track(((0.0, 500.0), (12.0, 500.0), (16.0, 1300.0), (40.0, 1300.0)))
    blows = impacts(speed, BPFO, strength=2.5) * (times_of(speed) < 12.0)
    first = detect(recording(noise(speed) + blows), speed, (REAR,)).hypotheses[0]
    assert (first.fault, first.look) == ("outer race", "slow")
    assert first.log10_p < -15.0


def test_a_cages_knocks_under_an_unbalance_are_found_by_the_load_that_turns_past_the_cage():
    # The load meets the cage shaft - FTF times per turn: the knocks' strength repeats
    # |shaft - 2 FTF| times (kinematics: Randall and Antoni 2011, equations 1-4).
    speed, ftf = track(STAGES), GEOMETRY.cage_order
    knocks = impacts(
        speed,
        ftf,
        strength=9.0,
        slip=0.05,
        load=lambda turns: np.maximum(np.cos(2 * np.pi * (1.0 - ftf) * turns), 0.0),
    )
    first = detect(recording(noise(speed) + knocks), speed, (REAR,)).hypotheses[0]
    assert first.fault == "cage"
    met = min(line.log10_p for line in first.sidebands if line.label == "2 x FTF - 1 x shaft")
    assert met < -3.0
    assert first.log10_p < -4.0


def test_the_speed_test_of_an_inner_race_counts_its_sidebands():
    speed = track(STAGES)
    blows = impacts(speed, BPFI, strength=1.6, load=narrow_load)
    evidence = detect(recording(noise(speed, 3) + blows), speed, (REAR,))
    assert evidence.hypotheses[0].fault == "inner race"
    assert evidence.speed_tests[0].follows == "yes"
    assert evidence.speed_tests[0].log10_odds > 8.0


def test_no_line_and_no_harmonic_decides_by_itself():
    pattern = sidebands_pattern(1.0, 2)
    assert list(pattern.multiple[:6]) == [1, 1, 1, 1, 1, 2]
    assert list(pattern.offset[:6]) == [-2, -1, 0, 1, 2, -2]
    one_line, one_harmonic = np.zeros(15), np.zeros(15)
    one_line[2], one_harmonic[:5] = 500.0, 500.0
    assert counted(one_line, pattern) == HIGHEST
    # five lines of one harmonic: 18 + 4 x 3
    assert counted(one_harmonic, pattern) == 30.0
    assert counted(np.full(5, 500.0), harmonics_pattern()) == 5 * HIGHEST


def test_lines_of_a_family_that_walks_at_random_widen_with_the_square():
    # Randall and Antoni 2011: phase errors of independent intervals add up
    steady = dict(family_lines(0.4, [], 0.01, 2.0))
    walking = dict(family_lines(0.4, [], 0.01, 2.0, random_walk=True))
    ratio = [walking[place] / steady[place] for place in sorted(walking)]
    assert ratio == pytest.approx([1.0, 2.0, 3.0, 4.0]), "the fifth would meet the sixth"


def test_a_cages_scattering_knocks_explain_the_lines_of_their_band():
    # its third harmonic is nine times as wide as the first; a share of the lines is credited to it
    speed = track(STAGES)
    knocks = impacts(speed, GEOMETRY.cage_order, strength=20.0, slip=0.05)
    first = detect(recording(noise(speed) + knocks), speed, (REAR,)).hypotheses[0]
    assert first.fault == "cage"
    assert first.share > 0.8


def test_the_stated_odds_hold_in_noise_over_two_speeds():
    # 30 recordings of noise with all three looks open: the smallest p is rarely under 1/30
    speed = track(((0.0, 500.0), (8.0, 500.0), (11.0, 1300.0), (19.0, 1300.0)))
    evidence = [detect(recording(noise(speed, s)), speed, (REAR,)) for s in range(200, 230)]
    p = [10.0 ** one.hypotheses[0].log10_p for one in evidence]
    assert min(p) > 3e-4
    assert sum(value < 0.05 for value in p) <= 5


def test_a_belt_that_beats_with_the_drum_at_the_cages_rate_is_named_beside_it():
    # cos(a) cos(b) holds the difference of both rates
    speed, ftf = track(STAGES), GEOMETRY.cage_order
    knocks = impacts(speed, ftf, strength=12.0, slip=0.05)
    belt = Competitor(cause="belt pass", order=1.0 - ftf, standard_uncertainty=0.005)
    heard = recording(noise(speed) + knocks)
    with_belt = detect(heard, speed, (REAR,), competitors=(belt,)).hypotheses[0]
    assert with_belt.fault == "cage"
    assert any("belt pass" in cause for cause in with_belt.coincides)
    other = Competitor(cause="belt pass", order=0.73, standard_uncertainty=0.005)
    assert not detect(heard, speed, (REAR,), competitors=(other,)).hypotheses[0].coincides


@pytest.mark.parametrize(
    ("p", "bound"),
    # Sellke, Bayarri and Berger 2001, table 1, least Bayes factors (values from memory)
    [(0.1, 0.625), (0.05, 0.407), (0.01, 0.125), (0.005, 0.072), (0.001, 0.0188)],
)
def test_a_stretch_says_no_more_for_a_reading_than_its_p_allows(p, bound):
    assert stagewise._log10_odds(np.log(p)) == pytest.approx(-np.log10(bound), abs=0.005)


def test_lines_too_faint_outside_one_stretch_are_not_said_to_keep_their_frequency():
    # under noise each reading of a stretch is uniform: one in ten times as rare as the other is
    # common, and tells nothing
    rng = np.random.default_rng(7)
    odds = np.array([stagewise._log10_odds(np.log(v)) for v in rng.uniform(size=20000)])
    four = odds.reshape(-1, 4).sum(axis=1) - rng.permutation(odds).reshape(-1, 4).sum(axis=1)
    assert np.mean(four < -stagewise.DECIDED_LOG10) < 0.06
