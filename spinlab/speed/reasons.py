"""Reasons: why a recording gives no speed, or none in rpm, and which recording would."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.speed.candidates import LEAST_MEASURED, LEAST_WEIGHT, ONE_SCALE, Candidate

NOTHING_MOVES = say("nothing in this recording moves as a drum does")
STANDING = say(
    "what is heard never changes speed, so nothing proves that it is the drum and not a pump or a "
    "fan; record the run-up as well"
)
TOO_FAINT = say(
    "the motor's changes of speed are heard, the drum's own turns too faintly; a recording closer "
    "to the machine, or an accelerometer log, would tell"
)
# Frames that must be supported for it to be said that the drum is heard.
LEAST_SUPPORTED_FRAMES = 20
# A best reading with less of the likelihood than this is none at all.
LEAST_KNOWN = 0.3


def why_relative(
    speed: NDArray[np.float64], scales: tuple[Candidate, ...], blurred: NDArray[np.float64]
) -> str:
    """Why the scale is not absolute; empty if it is.

    `blurred` are the relative uncertainties of what the drum's own evidence supports.
    """
    known = speed[np.isfinite(speed)]
    if not len(known) and len(blurred) >= LEAST_SUPPORTED_FRAMES:
        return say(
            "the drum is heard, but its speed is known no better than to about {percent:.1f} % "
            "(twice the standard uncertainty); a recording closer to the machine, or an "
            "accelerometer log, would tell",
            percent=200 * float(np.median(blurred)),
        )
    if not len(known):
        return say("no stretch of this recording is supported by evidence of the drum's own turns")
    if scales[0].measured_standout < LEAST_MEASURED or scales[0].weight < LEAST_KNOWN:
        return say(
            "the motor's changes of speed are heard but the drum's own turns are not; a profile "
            "with the drum-to-motor ratio, or an accelerometer log, would tell"
        )
    if scales[0].weight < LEAST_WEIGHT:
        other = scales[1].factor / scales[0].factor
        if abs(np.log(other)) < ONE_SCALE:
            return say(
                "the drum is heard, but its speed may be {percent:.0f} % {way}; a recording closer "
                "to the machine, or an accelerometer log, would tell",
                percent=100 * abs(other - 1),
                way=say("higher") if other > 1 else say("lower"),
            )
        return say(
            "two readings remain: this one and {ratio:.2f} times it; a profile with the "
            "drum-to-motor ratio, or an accelerometer log, would tell",
            ratio=other,
        )
    return ""
