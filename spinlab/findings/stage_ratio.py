"""The top stage against the others: what speeds tell that are known up to one factor only.

Indicated speeds share the error of one scale, so their ratios are known far better than they are.
A top stage that stands lower against the others than the programme asks is low whatever the scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, shared, state_of
from spinlab.findings.stage_unheld import NEXT_TOP, OTHER_TOP
from spinlab.machine.value import Plateau
from spinlab.phrase import say
from spinlab.stages import Stage

# Other stages that must agree on one factor, and how well.
LEAST_OTHERS, SAME_FACTOR_SHARE = 3, 0.01
# What a belt's creep and the readings leave of one stage against another (1 sigma; the size of the
# differences between indicated stages of simulated recordings).
OWN_SIGMA = 0.002
# Weight of a course that followed another line on the top stage, relative to 1 for the machine.
OTHER_LINE = 0.5


def top_against_others(expected: Sequence[Stage], top: Plateau) -> tuple[Finding, ...]:
    """A finding where the indicated top stage stands off its place among the others, or none.

    Args:
        expected: the programme's stages in its order.
        top: what the profile says of the last of them.
    """
    ratios = [
        (stage.indicated_rpm or math.nan) / (stage.expected_rpm or math.nan) for stage in expected
    ]
    others = [ratio for ratio in ratios[:-1] if math.isfinite(ratio)]
    if len(others) < LEAST_OTHERS or not math.isfinite(ratios[-1]):
        return ()
    common = float(np.median(others))
    if max(abs(ratio / common - 1.0) for ratio in others) > SAME_FACTOR_SHARE:
        return ()
    departure = ratios[-1] / common - 1.0
    sigma = OWN_SIGMA * math.sqrt(1.0 + 1.0 / len(others))
    sign = chance_above(abs(departure), sigma, top.allowed_departure_rpm / top.rpm)
    probability, causes = shared(
        sign,
        {
            "the programme of this unit asks for another speed": OTHER_TOP,
            "another tone was followed on this stage": OTHER_LINE,
        },
    )
    if state_of(probability) == "clear":
        return ()
    return (
        Finding(
            kind="stage",
            subject=say("{rpm:g} rpm stage against the others", rpm=top.rpm),
            state="attention",
            probability=probability,
            evidence={
                "asked_rpm": top.rpm,
                "departure_percent": 100.0 * departure,
                "departure_standard_uncertainty_percent": 100.0 * sigma,
                "other_stages": len(others),
            },
            rivals=causes,
            next_step=NEXT_TOP,
            reason=say(
                "Whatever the scale of the speed, this stage stands {departure:+.1f} ± {half:.1f} "
                "% off the place that the {count} others give it; {allowed:.1f} % are allowed.",
                departure=100.0 * departure,
                half=200.0 * sigma,
                count=len(others),
                allowed=100.0 * top.allowed_departure_rpm / top.rpm,
            ),
        ),
    )
