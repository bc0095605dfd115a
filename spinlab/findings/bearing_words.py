"""What a technician is told to do next about a bearing, in the words of the trade.

Manual checks are common practice, no published source.  The maker's instructions and local rules
come first.
"""

from __future__ import annotations

from spinlab.bearings import Fault
from spinlab.phrase import say

_PLUG = "Pull the plug first."
NEXT_DRUM = say(
    "{plug} Take the belt off and spin the drum by hand: does it rumble "
    "or feel rough? Lift the drum at its front edge and rock it: play at "
    "the shaft against the tub? Look behind the tub for a rust streak or "
    "grease below the rear bearing, a sign of a leaking seal. What these "
    "three say outweighs a recording.",
    plug=_PLUG,
)
NEXT_MOTOR = say(
    "{plug} Take the belt off and turn the motor's pulley by hand: "
    "rough, dry or with play? Then record the drum and the motor apart, "
    "by hand and on a bench run if the maker allows it.",
    plug=_PLUG,
)
NEXT_SPEED = (
    "A recording over the whole run-up, with two plateaus at least, tells whether the lines move "
    "with the speed."
)
NEXT_RECORDING = (
    "Record the whole spin test as sound at 44.1 or 48 kHz with the phone a hand's breadth from "
    "the rear panel, uncompressed or at the best quality offered."
)
NEXT_LISTEN = (
    "Record again closer to the rear panel, without speech, pump or running water; or listen at "
    "the tub behind the drum's shaft with a screwdriver or stethoscope during coast-down."
)
NEXT_UNKNOWN = say(
    "Read the bearings' numbers off the parts list or the old bearings "
    "and add them to the machine profile. {next_drum}",
    next_drum=NEXT_DRUM,
)


# A cage alone is seldom what is wrong: a damaged ball makes the same slow swell.
PARTS: dict[Fault, str] = {
    "outer race": "outer race",
    "inner race": "inner race",
    "ball": "ball",
    "cage": "cage or balls",
}


def rare(log10_p: float) -> str:
    """A small probability in words: "chance: 1 in 10 000"."""
    if log10_p > -1.0:
        return say("chance: {share:.0%}", share=10.0**log10_p)
    if log10_p < -9.0:
        return "chance: under 1 in 1 000 000 000"
    odds = f"{round(10.0**-log10_p, -int(-log10_p) + 1):,.0f}".replace(",", " ")
    return say("chance: 1 in {odds}", odds=odds)
