"""Brush arcing: noise that swells at twice the mains, or why none could be heard."""

from __future__ import annotations

import math
from typing import Any

from spinlab.drive.arcing import Arcing, Swell
from spinlab.finding import Finding
from spinlab.findings.judge import not_measurable, numbers, shared, state_of
from spinlab.phrase import Phrase, say

# A swell counts from this chance in steady noise, all bands counted, and is doubtful from the next:
# of 45 simulated sound brushed motors (seeds 0-44) none fell below 0.1.
SWELL_P = 0.01
DOUBTFUL_P = 0.1
# In the same band with the motor off, from which it is another source's.
IDLE_P = 1e-3
# Excess kurtosis from which the noise is called crackle: common practice, no published source.
CRACKLE = 0.5
# A motor that makes less than this share of every band would be drowned if it arced.
HEARD_SHARE = 0.10
SUBJECT = "brush arcing"
CHECK = "with the plug pulled: brush length and holders, commutator for burnt, raised or dirty bars"
BETTER = (
    "record at 44.1 or 48 kHz as WAV or FLAC, without a messenger's coding, the phone 20 cm from "
    "the rear panel at the motor's height, until the drum has run out"
)


def arcing_finding(measured: Arcing) -> Finding:
    """What the swell at twice the mains says of the brushes."""
    best, p = measured.strongest, measured.p_value
    if best is None or p is None:
        return not_measurable("motor", SUBJECT, measured.reason, BETTER)
    evidence = _evidence(measured, best, p)
    if p > SWELL_P:
        why = _doubtful(best, p) or _drowned(measured)
        if why:
            return not_measurable("motor", SUBJECT, why, BETTER, evidence=evidence)
        words = "the noise does not swell at twice the mains, though the motor can be heard in it"
        return Finding(
            kind="motor",
            subject=SUBJECT,
            state="clear",
            probability=0.05,
            evidence=evidence,
            reason=words,
        )
    other = best.idle_p_value is not None and best.idle_p_value < IDLE_P
    probability, rivals = shared(
        chance_real(p),
        {
            "motor's ordinary pull at twice the mains": 0.35,
            "a lamp or charger that buzzes with the mains": 2.0 if other else 0.1,
        },
    )
    state = state_of(probability)
    return Finding(
        kind="motor",
        subject=SUBJECT,
        state="attention" if state == "fault" else state,
        probability=probability,
        evidence=evidence,
        rivals=rivals,
        next_step=CHECK,
        reason=say(
            "between {low:.0f} and {high:.0f} Hz the noise swells by {value:.0f} +- {half:.0f} % "
            "at twice the mains while the motor pulls, with {tail} in it",
            low=best.band_hz[0],
            high=best.band_hz[1],
            value=100 * best.index.value,
            half=196 * best.index.standard_uncertainty,
            tail="crackle" if (measured.tail or 0.0) >= CRACKLE else "little crackle",
        ),
    )


def chance_real(p: float) -> float:
    """Chance of a real swell, noise held as likely before: odds of at most -1 / (e p ln p).

    Sellke, Bayarri and Berger 2001, "Calibration of p values".
    """
    least = -math.e * max(p, 1e-300) * math.log(max(p, 1e-300))
    return 1.0 / (1.0 + least)


def _doubtful(best: Swell, p: float) -> Phrase | str:
    """Why a faint swell is neither a sign nor its absence; "" where there is none."""
    if p > DOUBTFUL_P:
        return ""
    return say(
        "between {low:.0f} and {high:.0f} Hz the noise swells faintly at twice the mains, as "
        "chance does in {percent:.0f} % of sound motors",
        low=best.band_hz[0],
        high=best.band_hz[1],
        percent=max(1.0, 100.0 * p),
    )


def _evidence(measured: Arcing, best: Swell, p: float) -> dict[str, Any]:
    return {
        **numbers("twice_mains_index", best.index),
        "p_value": p,
        "band_hz": list(best.band_hz),
        "tail_excess_kurtosis": measured.tail,
        "motor_share_of_noise": measured.motor_share,
        "swells": [
            {
                "band_hz": list(swell.band_hz),
                **numbers("twice_mains_index", swell.index),
                "p_value": swell.p_value,
                "motor_off_p_value": swell.idle_p_value,
                "motor_share_of_noise": swell.motor_share,
            }
            for swell in measured.swells
        ],
    }


def _drowned(measured: Arcing) -> str | Phrase:
    """Why no swell does not mean no arcing; "" where the motor is heard well enough."""
    share = measured.motor_share
    if share is None:
        return (
            "the noise does not swell at twice the mains, but no run-out with the motor off shows "
            "how much of it the motor makes; arcing may be drowned"
        )
    if share < HEARD_SHARE:
        return say(
            "the noise does not swell at twice the mains, but above 1500 Hz the motor makes at "
            "most {share:.0f} % of it (the drum running out at the same speeds is as loud), so "
            "arcing may be drowned",
            share=100 * share,
        )
    return ""
