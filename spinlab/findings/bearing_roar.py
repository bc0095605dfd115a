"""Noise that swells with the cage: late damage, or a ball's, and what a dry bearing is not.

When wear goes all round, single impacts no longer stand out: the lines of the races sink into a
roar, kurtosis falls to that of noise, the level at high frequency keeps rising with speed.  What
remains is the slow swell with which worn balls pass the loaded zone, once per turn of the cage.
A damaged ball, whose own lines are smeared by its tumbling, leaves the same swell.
"""

from __future__ import annotations

import math

import numpy as np

from spinlab.bearings.evidence import Roar
from spinlab.bearings.explain import WORTH_A_LOOK_LOG10
from spinlab.finding import Cause, Finding
from spinlab.findings.bearing_numbers import line_numbers
from spinlab.findings.bearing_odds import chance_of_noise, healthy_share, missing_share
from spinlab.findings.bearing_words import NEXT_DRUM, rare
from spinlab.findings.judge import ATTENTION_FROM
from spinlab.phrase import listed, say
from spinlab.recording import Kind

# Noise that swells with a cage: this far above the recording's quiet; and kurtosis up to which
# noise counts as a roar.
ROAR_ABOVE_DB = 6.0
ROAR_MOST_KURTOSIS = 1.0
# What is left to rivals at a cage's rate, the first that applies; common practice, no published
# source.  Only a cage carries N balls past a fixed ring; a known cause lies at the place; nobody
# knows how the belt turns; it is known to turn at another rate, and a seal rubs once per turn.
CARRIED_RIVAL = 0.02
COINCIDES_RIVAL = 0.5
BELT_RIVAL = 0.25
OTHER_RIVAL = 0.05


def cage_findings(roar: Roar | None, *, kind: Kind) -> tuple[Finding, ...]:
    """At most one finding: noise that swells at a cage's rate while no race stands out.

    High-frequency noise without that swell is no finding: without an earlier recording of the
    same machine nobody can say that it is too much, and a dry, noisy bearing has no race defect.
    """
    probability = cage_probability(roar, kind=kind)
    if roar is None or roar.cage_line is None or probability < ATTENTION_FROM:
        return ()
    kurtosis = float(np.mean(roar.kurtosis)) if len(roar.kurtosis) else 0.0
    slope = roar.slope_db_per_decade
    known = math.isfinite(slope)
    rising = known and slope > 2.0 * roar.slope_standard_uncertainty
    late = rising and kurtosis <= ROAR_MOST_KURTOSIS and roar.above_background_db >= ROAR_ABOVE_DB
    what = (
        say(
            "the noise rises by {slope:.0f} dB per tenfold speed and is not "
            "impulsive (excess kurtosis {kurtosis:.1f}), as in late damage, wear "
            "all round",
            slope=slope,
            kurtosis=kurtosis,
        )
        if late
        else "the noise itself does not tell a roar from single impacts"
    )
    return (
        Finding(
            kind="bearing",
            subject=say("a drum bearing, {late}", late="late damage" if late else "balls or cage"),
            state="attention",
            probability=round(probability, 4),
            evidence={
                "cage_line": line_numbers(roar.cage_line),
                "ball_pass_line": (
                    line_numbers(roar.ball_pass_line) if roar.ball_pass_line is not None else None
                ),
                "share_of_lines": roar.cage_share,
                "level_over_quiet_db": roar.above_background_db,
                "level_slope_db_per_decade": slope if known else None,
                "level_slope_standard_uncertainty": (
                    roar.slope_standard_uncertainty if known else None
                ),
                "mean_kurtosis": kurtosis,
                "band_hz": [roar.band.low_hz, roar.band.high_hz],
            },
            rivals=(
                Cause(cause="a damaged ball", probability=round(0.5 * probability, 4)),
                Cause(
                    cause=(
                        listed(roar.coincides)
                        if roar.coincides
                        else "a belt or seal that rubs at this rate"
                    ),
                    probability=round(1.0 - probability, 4),
                ),
            ),
            next_step=NEXT_DRUM,
            reason=(
                say(
                    "High-frequency noise swells {order:.3f} times per drum turn, the "
                    "rate of a ball cage ({log10_p}), and no single race stands out; "
                    "{what}. This is not called a race defect; a bearing run dry is "
                    "noisy too.",
                    order=roar.cage_line.order,
                    log10_p=rare(roar.cage_line.log10_p),
                    what=what,
                )
            ),
        ),
    )


def cage_probability(roar: Roar | None, *, kind: Kind) -> float:
    """Probability that the swell is a bearing's, 0 where there is none."""
    if roar is None or roar.cage_line is None or roar.cage_line.log10_p > WORTH_A_LOOK_LOG10:
        return 0.0
    passes = roar.ball_pass_line.depth if roar.ball_pass_line is not None else 0.0
    others = (
        chance_of_noise(roar.cage_line.log10_p),
        missing_share(roar.cage_share),
        healthy_share(math.hypot(roar.cage_line.depth, passes), kind),
        _rival(roar),
    )
    return math.prod(1.0 - other for other in others)


def _rival(roar: Roar) -> float:
    """What is left to other parts that turn at a cage's rate."""
    if roar.ball_pass_line is not None:
        return CARRIED_RIVAL
    if roar.coincides:
        return COINCIDES_RIVAL
    return OTHER_RIVAL if roar.belt_known else BELT_RIVAL
