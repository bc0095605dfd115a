"""The belt's own passing rate: pi D / L turns of the belt per turn of the drum.

A splice or a worn place passes the pulleys once per belt length; a damaged one slaps, which fills
a long row of harmonics.  Which of them can be heard depends on the panels, and so on the speed:
every harmonic on every plateau counts for itself, and no line more than a few nepers.  How much a
row can show that is none of the belt's is read from rows beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.drive.spectra import OrderSpectra

HARMONICS = 24
STEADY_RPM_PER_S = 6.0
PLATEAU_RPM = 50.0
LEAST_WINDOWS = 3
TOLERANCE = 0.01  # belt length and effective pulley diameter are seldom known better than 1 %
_CLEAR_OF_WHOLE = 0.06  # orders this near to a whole one may be the drum's own
_MOST_NEPERS = 8.0  # of one line: a hum that meets a harmonic may not decide
_LEAST_LINES = 6
_LEAST_ROWS = 6
_PLACES = 81  # tried within the tolerance
# Rows that are none of the belt's, as shares of its order; each is looked at just as far around.
_DECOYS = (0.80, 0.83, 0.86, 0.89, 0.92, 0.95, 1.05, 1.08, 1.11, 1.14, 1.17, 1.20)
_HEARD_P = 1e-3


@dataclass(frozen=True, kw_only=True)
class BeltPass:
    """How strongly the belt's passing is heard.

    Attributes:
        order: belt passes per drum turn that fits best, None if unknown.
        harmonics: lines looked at, on all plateaus together (none near a whole order of the drum).
        heard: how many of them stand out of the noise (p < 0.001 each).
        nepers: mean of -ln p over them; noise alone has 1.
        excess: how far that lies above rows that are none of the belt's, in their deviations.
        reason: why there is nothing; "" otherwise.
    """

    order: float | None = None
    harmonics: int = 0
    heard: int = 0
    nepers: float | None = None
    excess: float | None = None
    reason: str = ""


def belt_pass(spectra: OrderSpectra, order: float | None) -> BeltPass:
    """Look for the belt's harmonics on every plateau.

    Args:
        spectra: order spectra on the drum's angle.
        order: belt passes per drum turn, from the profile.
    """
    if order is None:
        return BeltPass(reason="belt length and pulley diameter are not in the profile")
    plateaus = _plateaus(spectra)
    if not plateaus:
        return BeltPass(reason="no plateau is long enough")
    rare = np.stack([_nepers(spectra, inside) for inside in plateaus])
    best, lines = _row(rare, spectra.step, order)
    if lines.size < _LEAST_LINES:
        return BeltPass(reason="the belt's orders fall on whole orders of the drum")
    beside = [_row(rare, spectra.step, share * order)[1] for share in _DECOYS]
    others = np.array([row.mean() for row in beside if row.size >= _LEAST_LINES])
    if len(others) < _LEAST_ROWS:
        return BeltPass(reason="too few orders beside the belt's are free of the drum's own")
    return BeltPass(
        order=best,
        harmonics=lines.size,
        heard=int(np.sum(lines > -np.log(_HEARD_P))),
        nepers=float(lines.mean()),
        excess=float((lines.mean() - others.mean()) / max(others.std(), 0.05)),
    )


def _nepers(spectra: OrderSpectra, inside: NDArray[np.int64]) -> NDArray[np.float64]:
    """-ln p of every cell over the windows of one plateau: their mean is a gamma law in noise."""
    from scipy.stats import gamma

    independent = 2.0 * len(inside) / 3.0
    mean = spectra.white[inside].mean(axis=0)
    return np.asarray(-gamma.logsf(mean, independent, scale=1.0 / independent))


def _row(rare: NDArray[np.float64], step: float, order: float) -> tuple[float, NDArray[np.float64]]:
    """The place within the tolerance whose harmonics show most, and these, none over the most.

    The logarithm keeps one loud line from choosing the place, and yet prefers a line's middle.
    """
    number = np.arange(1, HARMONICS + 1)
    reach = _CLEAR_OF_WHOLE + 0.2 * TOLERANCE * number * order
    clear = number[np.abs(number * order - np.round(number * order)) > reach]
    places = order * np.linspace(1.0 - TOLERANCE, 1.0 + TOLERANCE, _PLACES)
    cells = np.round(places[:, None] * clear / step).astype(int)
    cells = cells[:, cells.max(axis=0) < rare.shape[1]]
    found = [rare[:, row] for row in cells]
    shown = [np.log1p(lines).mean() if lines.size else 0.0 for lines in found]
    best = int(np.argmax(shown))
    return float(places[best]), np.minimum(found[best], _MOST_NEPERS)


def _plateaus(spectra: OrderSpectra) -> list[NDArray[np.int64]]:
    """Windows of each speed that is held, three at least."""
    steady = np.abs(spectra.slope_rpm_per_s) < STEADY_RPM_PER_S
    bins = np.where(steady, np.round(spectra.speed_rpm / PLATEAU_RPM), -1)
    groups = [np.flatnonzero(bins == b) for b in np.unique(bins[steady])]
    return [inside for inside in groups if len(inside) >= LEAST_WINDOWS]
