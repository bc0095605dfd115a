"""What noise that swells with a cage is worth, by what else could turn at its rate."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.bearings import Competitor, detect
from spinlab.findings.bearing_roar import cage_findings, cage_probability
from tests.bearings.signals import GEOMETRY, REAR, STAGES, noise, recording, times_of, track

FTF = GEOMETRY.cage_order


def swelling(seed=0, **more):
    """The roar of noise that swells with the cage alone."""
    speed = track(STAGES)
    swell = 1.0 + 0.1 * np.cos(2 * np.pi * FTF * speed.turns_at(times_of(speed)))
    return detect(recording(noise(speed, seed) * swell), speed, (REAR,), **more).roar


def probability(roar):
    return cage_probability(roar, kind="sound")


def test_a_swell_is_surer_the_less_else_can_turn_at_its_rate():
    open_belt = replace(swelling(), ball_pass_line=None)
    elsewhere = replace(open_belt, belt_known=True)
    carried = replace(open_belt, ball_pass_line=open_belt.cage_line)
    assert 0.7 < probability(open_belt) < probability(elsewhere) < probability(carried)


def test_a_known_cause_at_the_cages_rate_halves_it_and_is_named_as_the_rival():
    # cos(a) cos(b) holds the difference of both rates: a belt at shaft - FTF beats at FTF
    belt = Competitor(cause="belt pass", order=1.0 - FTF, standard_uncertainty=0.005)
    roar = replace(swelling(competitors=(belt,), belt_known=True), ball_pass_line=None)
    assert roar.coincides == ("belt pass",)
    assert 0.4 < probability(roar) < 0.5
    (finding,) = cage_findings(replace(roar, coincides=()), kind="sound")
    assert not any("belt pass" in rival.cause for rival in finding.rivals)
    far = replace(belt, order=0.53)
    assert swelling(competitors=(far,), belt_known=True).coincides == ()


@pytest.mark.slow
def test_the_stated_odds_of_a_swell_hold_in_noise():
    # under noise alone p is no less than uniform: of 60 recordings 3 below 0.05 are to be expected,
    # more than 8 hardly ever (binomial law, p = 0.003)
    speed = track(((0.0, 500.0), (8.0, 500.0), (11.0, 1300.0), (19.0, 1300.0)))
    found = [detect(recording(noise(speed, s)), speed, (REAR,)).roar for s in range(400, 460)]
    p = [10.0**one.cage_line.log10_p for one in found]
    assert sum(value < 0.05 for value in p) <= 8


def test_a_swell_is_read_at_its_true_depth():
    # the square of 1 + m cos has depth 2 m / (1 + m^2 / 2); the slowest level turns 2.7 cages a s
    assert swelling().cage_line.depth == pytest.approx(0.2, rel=0.15)
