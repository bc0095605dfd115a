"""What a small p, a share of the lines and a modulation depth are worth as probabilities."""

from __future__ import annotations

import math

from spinlab.recording import Kind

# Among machines that are tested because something is wrong, about one in twenty has a damaged
# race in any one bearing and kind of damage looked for; common practice, no published source.
PRIOR_ODDS = 0.05
# Share of all standing lines that the family must explain; the open rigs' race faults explain
# 0.75 to 1, what looks like a family in their healthy records explains 0 to 0.35.
SHARE_HALF = 0.5
SHARE_STEEPNESS = 8.0
# Modulation depth at which half of all such families are a healthy bearing's own ball passes:
# the open rigs' healthy records reach 0.13, the weakest of their faults 0.38.  In air the noise
# of the rest of the machine covers a healthy bearing and waters down a bad one alike.
DEPTH_HALF: dict[Kind, float] = {"acceleration": 0.20, "sound": 0.03}
DEPTH_STEEPNESS = 4.0


def chance_of_noise(log10_p: float) -> float:
    """Posterior probability that noise alone made a family, from its corrected p.

    The odds in favour of the damage are at most 1/(-e p ln p) (Sellke, Bayarri and Berger, The
    American Statistician 55 (2001) 62-71), times the prior odds.
    """
    log_p = log10_p * math.log(10.0)
    if log_p > -1.0:
        return 1.0 / (1.0 + PRIOR_ODDS)
    log_odds = -1.0 - log_p - math.log(-log_p) + math.log(PRIOR_ODDS)
    return 1.0 / (1.0 + math.exp(min(log_odds, 700.0)))


def missing_share(share: float) -> float:
    """Probability that a family which explains this share of the lines is part of another."""
    return 1.0 / (1.0 + math.exp(SHARE_STEEPNESS * (share - SHARE_HALF)))


def healthy_share(depth: float, kind: Kind) -> float:
    """Probability that lines of this modulation depth are a healthy bearing's ball passes."""
    if depth <= 0:
        return 1.0
    return 1.0 / (1.0 + math.pow(depth / DEPTH_HALF[kind], DEPTH_STEEPNESS))
