"""Fills held against what hisses like one: a drum that spins unheard, or runs up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.finding import Cause
from spinlab.phases.features import Features
from spinlab.phases.value import Phase

# Water runs in at one pressure: its hiss keeps its level to within this, a drum's noise does not.
MOST_FILL_DRIFT_DB = 3.0
DRIFT_PARTS = 4
# What a hiss leaves to a drum that spins unheard, where no speed is known anywhere.
UNHEARD_SPIN = 0.4
UNTRACKED = "runs steadily; no drum speed could be told in it"
LEAST_SHARE = 0.5  # a name is given where it is likelier than all others together


def maybe_spin(phase: Phase) -> Phase:
    """A fill's share beside the drum that may be spinning unheard: both hiss."""
    if phase.label != "fill":
        return phase
    share = phase.confidence / (1.0 + UNHEARD_SPIN * phase.confidence)
    spin = Cause(cause="spin", probability=round(UNHEARD_SPIN * share, 2))
    if share < LEAST_SHARE:
        return replace(
            phase,
            label="running, not identified",
            confidence=1.0 - share,
            rivals=(Cause(cause="fill", probability=round(share, 2)), spin, *phase.rivals),
            evidence=UNTRACKED,
        )
    return replace(phase, confidence=share, rivals=(spin, *phase.rivals))


def steady_fill(phase: Phase, features: Features) -> Phase:
    """A fill, or something not identified where its level moves: a drum on its ramp hisses too."""
    inside = (features.time_s >= phase.start_s) & (features.time_s <= phase.end_s)
    if phase.label != "fill" or inside.sum() < DRIFT_PARTS:
        return phase
    parts = np.array_split(features.level[inside], DRIFT_PARTS)
    levels = 20.0 * np.log10([float(np.median(part)) + 1e-12 for part in parts])
    if float(levels.max() - levels.min()) <= MOST_FILL_DRIFT_DB:
        return phase
    return replace(
        phase,
        label="running, not identified",
        confidence=1.0 - 0.5 * phase.confidence,
        rivals=(Cause(cause="fill", probability=round(0.5 * phase.confidence, 2)),),
        evidence=UNTRACKED,
    )
