"""What a family without its first harmonic is worth as damage."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.bearings import detect
from spinlab.bearings.evidence import LineEvidence
from spinlab.findings.bearing import bearing_findings
from spinlab.findings.bearing_weigh import judge
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


def line(harmonic, log10_p):
    return LineEvidence(
        label=f"{harmonic} x BPFO",
        order=harmonic * GEOMETRY.outer_race_order,
        snr_db=10.0,
        log10_p=log10_p,
        depth=0.1,
    )


def probability(evidence, *harmonics):
    lines = tuple(line(h, log10_p) for h, log10_p in harmonics)
    first = replace(evidence.hypotheses[0], harmonics=lines)
    return judge(replace(evidence, hypotheses=(first, *evidence.hypotheses[1:])), "sound")[
        0
    ].probability


def test_blows_show_their_first_harmonic_or_three_others_with_the_second():
    speed = track(STAGES)
    blows = impacts(speed, GEOMETRY.outer_race_order, strength=4.0)
    evidence = detect(recording(noise(speed) + blows), speed, (REAR,))
    whole = probability(evidence, (1, -20.0), (2, -20.0), (3, -8.0))
    comb = probability(evidence, (1, -1.0), (2, -9.0), (3, -9.0), (4, -6.0))
    borrowed = probability(evidence, (1, -1.0), (2, -9.0), (4, -6.0))
    masked = probability(evidence, (2, -9.0), (4, -6.0))
    # beats of a brushed motor's tones did this in a sound machine (simulated)
    upper = probability(evidence, (1, -1.0), (2, -0.5), (3, -9.0), (4, -9.0), (5, -6.0))
    upper_masked = probability(evidence, (1, -1.0), (3, -9.0), (4, -9.0), (5, -6.0))
    assert whole > 0.9
    assert np.isclose(comb, whole)
    assert np.isclose(masked, whole), "another cause lies on the first: nothing can be said"
    assert borrowed < 0.35
    assert upper < 0.35
    assert np.isclose(upper_masked, whole), "another cause lies on the second"


@pytest.mark.parametrize("seed", [0, 1])
def test_noise_that_swells_with_the_cage_is_not_called_a_cages_knocks(seed):
    # An amplitude that follows a cosine has one line; short knocks have several.
    speed = track(STAGES)
    swell = 1.0 + 0.1 * np.cos(2 * np.pi * GEOMETRY.cage_order * speed.turns_at(times_of(speed)))
    evidence = detect(recording(noise(speed, seed) * swell), speed, (REAR,))
    worn = bearing_findings(evidence, kind="sound")[0]
    assert worn.state == "attention"
    assert worn.subject.startswith("a drum bearing")
    knocks = impacts(speed, GEOMETRY.cage_order, strength=12.0, slip=0.05)
    evidence = detect(recording(noise(speed, seed) + knocks), speed, (REAR,))
    cage = bearing_findings(evidence, kind="sound")[0]
    assert cage.state == "fault"
    assert "cage" in cage.subject


def inner(evidence, harmonics, sidebands):
    """Probability of an inner race with these lines, (harmonic, log10 p) each."""
    lines = tuple(replace(line(h, p), label=f"{h} x BPFI") for h, p in harmonics)
    sides = tuple(
        replace(line(h, p), label=f"{h} x BPFI {sign} 1 x shaft")
        for h, p in sidebands
        for sign in "+-"
    )
    first = replace(evidence.hypotheses[0], fault="inner race", harmonics=lines, sidebands=sides)
    return judge(replace(evidence, hypotheses=(first, *evidence.hypotheses[1:])), "sound")[
        0
    ].probability


def test_sidebands_of_an_inner_race_stand_for_the_harmonic_whose_power_they_carry():
    # Randall and Antoni 2011, section 2: a narrow load zone leaves more of the power in them
    speed = track(STAGES)
    blows = impacts(speed, GEOMETRY.inner_race_order, strength=4.0)
    evidence = detect(recording(noise(speed) + blows), speed, (REAR,))
    whole = inner(evidence, [(1, -20.0), (2, -9.0)], [])
    # -1 - 3 - 3 together: p = 1.6e-5 (gamma law of shape 3)
    carried = inner(evidence, [(1, -1.0), (2, -9.0)], [(1, -3.0)])
    silent = inner(evidence, [(1, -1.0), (2, -9.0)], [(1, -0.3)])
    masked = inner(evidence, [(2, -9.0)], [(1, -0.3)])
    assert np.isclose(carried, whole)
    assert silent < 0.4
    assert np.isclose(masked, whole), "another cause lies on the first: nothing can be said"
