"""The belt's own passing rate: pi D / L turns of the belt per turn of the drum.

A splice or a worn place passes the pulleys once per belt length; a damaged one slaps, which fills
a long row of harmonics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.drive.spectra import OrderSpectra

HARMONICS = 16
STEADY_RPM_PER_S = 6.0
PLATEAU_RPM = 50.0
LEAST_WINDOWS = 3
TOLERANCE = 0.01  # belt length and effective pulley diameter are seldom known better than 1 %
_CLEAR_OF_WHOLE = 0.06  # orders this near to a whole one may be the drum's own


@dataclass(frozen=True, kw_only=True)
class BeltPass:
    """How strongly the belt's passing is heard.

    Attributes:
        order: belt passes per drum turn that fits best, None if unknown.
        harmonics: those looked at (none near a whole order of the drum).
        heard: how many stand out of the noise (p < 0.001 each).
        excess_db: mean level of all of them over the noise.
        p_value: chance of such a row in noise alone.
        reason: why there is nothing; "" otherwise.
    """

    order: float | None = None
    harmonics: int = 0
    heard: int = 0
    excess_db: float | None = None
    p_value: float | None = None
    reason: str = ""


def belt_pass(spectra: OrderSpectra, order: float | None) -> BeltPass:
    """Look for the belt's harmonics on every plateau.

    The middle plateau decides for each harmonic: the belt is there at every speed, a hum meets
    its orders at one.
    """
    if order is None:
        return BeltPass(reason="belt length and pulley diameter are not in the profile")
    plateaus = _plateaus(spectra)
    if not plateaus:
        return BeltPass(reason="no plateau is long enough")
    from scipy.stats import gamma

    grid = order * np.linspace(1.0 - TOLERANCE, 1.0 + TOLERANCE, 81)
    members = np.array(
        [
            k
            for k in range(1, HARMONICS + 1)
            if k * order < spectra.highest - 1.0
            and abs(k * order - round(k * order)) > _CLEAR_OF_WHOLE + k * order * 0.2 * TOLERANCE
        ]
    )
    if len(members) < 3:
        return BeltPass(reason="the belt's orders fall on whole orders of the drum")
    white = spectra.at(members[:, None] * grid[None, :])
    each = np.stack([white[inside].mean(axis=0) for inside in plateaus])
    middle = np.sort(each, axis=0)[(len(each) - 1) // 2]
    score = np.log(np.maximum(middle, 1e-6)).sum(axis=0)
    best = int(np.argmax(score))
    lines = middle[:, best]
    # The shortest plateau may be the one that decides.
    independent = 2.0 * min(len(inside) for inside in plateaus) / 3.0
    chance = gamma.sf(lines, independent, scale=1.0 / independent)
    total = float(lines.mean())
    trials = len(members) * independent
    p = float(gamma.sf(total, trials, scale=1.0 / trials))
    return BeltPass(
        order=float(grid[best]),
        harmonics=len(members),
        heard=int(np.sum(chance < 1e-3)),
        excess_db=float(10.0 * np.log10(max(total, 1e-6))),
        # About twenty independent places of the comb were tried.
        p_value=min(1.0, 20.0 * p),
    )


def _plateaus(spectra: OrderSpectra) -> list[NDArray[np.int64]]:
    """Windows of each speed that is held, three at least."""
    steady = np.abs(spectra.slope_rpm_per_s) < STEADY_RPM_PER_S
    bins = np.where(steady, np.round(spectra.speed_rpm / PLATEAU_RPM), -1)
    groups = [np.flatnonzero(bins == b) for b in np.unique(bins[steady])]
    return [inside for inside in groups if len(inside) >= LEAST_WINDOWS]
