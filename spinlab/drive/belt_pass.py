"""The belt's own passing rate: pi D / L turns of the belt per turn of the drum.

A splice or a worn place passes the pulleys once per belt length; a damaged one slaps, which fills
a long row of harmonics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.drive.spectra import OrderSpectra

HARMONICS = 16
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
    """Look for the belt's harmonics over every window in which the drum turns steadily."""
    if order is None:
        return BeltPass(reason="belt length and pulley diameter are not in the profile")
    steady = np.abs(spectra.slope_rpm_per_s) < 6.0
    windows = int(steady.sum())
    if windows < 4:
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
    mean = spectra.at(members[:, None] * grid[None, :])[steady].mean(axis=0)
    score = np.log(np.maximum(mean, 1e-6)).sum(axis=0)
    best = int(np.argmax(score))
    lines = mean[:, best]
    independent = 2.0 * windows / 3.0
    each = gamma.sf(lines, independent, scale=1.0 / independent)
    total = float(lines.mean())
    trials = len(members) * independent
    p = float(gamma.sf(total, trials, scale=1.0 / trials))
    return BeltPass(
        order=float(grid[best]),
        harmonics=len(members),
        heard=int(np.sum(each < 1e-3)),
        excess_db=float(10.0 * np.log10(max(total, 1e-6))),
        # About twenty independent places of the comb were tried.
        p_value=min(1.0, 20.0 * p),
    )
