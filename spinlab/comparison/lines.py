"""Lines of two sets of order spectra held against each other, place by place.

The spectra of all shared speeds are pooled, since what turns with the drum keeps its order at
every speed.  The order axis is then cut into places as wide as a line may smear, the strongest
first, so that no line is cut in two; every place counts as one test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.comparison.spectra import LeveledSpectrum
from spinlab.comparison.statistics import DB_PER_NEPER, Level, line_freedom

Array = NDArray[np.float64]

# Lines of the Hann window's main lobe either side of a tone.
_LOBE_LINES = 2
# A bearing's line lies 1-2 % below its reckoned order and wanders by as much (Randall and Antoni,
# Mechanical Systems and Signal Processing 25 (2011) 485-520); two tracks differ by less.
_SMEAR = 0.01
# Lower, a spectrum of 20 turns knows nothing of its own.
_LEAST_ORDER = 0.4


@dataclass(frozen=True, kw_only=True, eq=False)
class Sides:
    """The spectra of two recordings at the speeds they share, on one order axis.

    Attributes:
        first, second: one spectrum per speed.
        order: shape (n,).
        weight: shape (speeds, n), zero where nothing is compared.
    """

    first: tuple[LeveledSpectrum, ...]
    second: tuple[LeveledSpectrum, ...]
    order: Array
    weight: Array

    @property
    def open(self) -> NDArray[np.bool_]:
        """Lines that at least one speed has."""
        return np.asarray(self.weight.sum(axis=0) > 0)

    def pooled(self, second: bool) -> Array:
        """Level over the floor of one side, mean over the speeds, shape (n,)."""
        ratios = np.stack([one.ratio for one in (self.second if second else self.first)])
        total = np.maximum(self.weight.sum(axis=0), 1e-12)
        return np.asarray((ratios * self.weight).sum(axis=0) / total)


def sides(first: Sequence[LeveledSpectrum], second: Sequence[LeveledSpectrum]) -> Sides:
    """Both recordings' spectra, one per shared speed, weighted by the lesser number of segments."""
    weight = np.stack(
        [
            min(a.segments, b.segments) * (a.free & b.free)
            for a, b in zip(first, second, strict=True)
        ]
    )
    return Sides(
        first=tuple(first), second=tuple(second), order=first[0].order, weight=weight.astype(float)
    )


def places(both: Sides) -> list[slice]:
    """The order axis in places around its strongest lines, none overlapping another."""
    step = float(both.order[1] - both.order[0])
    strength = np.log(np.maximum(both.pooled(False), 1e-9)) + np.log(
        np.maximum(both.pooled(True), 1e-9)
    )
    taken = ~both.open | (both.order < _LEAST_ORDER)
    found = []
    for line in np.argsort(-strength, kind="stable"):
        reach = max(_LOBE_LINES, round(_SMEAR * both.order[line] / step))
        here = slice(max(0, line - reach), min(len(taken), line + reach + 1))
        if taken[line] or taken[here].mean() > 0.4:
            continue
        found.append(_without(here, taken))
        taken[here] = True
    return sorted(found, key=lambda place: place.start)


def _without(here: slice, taken: NDArray[np.bool_]) -> slice:
    """The part of a place that no stronger one has."""
    free = np.flatnonzero(~taken[here]) + here.start
    return slice(int(free[0]), int(free[-1]) + 1)


def place_at(both: Sides, order: float) -> slice | None:
    """The place around a given order; None where nothing is compared there."""
    step = float(both.order[1] - both.order[0])
    line = round(order / step)
    reach = max(_LOBE_LINES, round(_SMEAR * order / step))
    if line + reach >= len(both.order) or not both.open[line - reach : line + reach + 1].all():
        return None
    return slice(line - reach, line + reach + 1)


def levels_at(both: Sides, place: slice) -> list[tuple[int, Level, Level]]:
    """Level of a place in either recording, speed by speed: (number of the speed, both levels)."""
    found = []
    for number, (a, b) in enumerate(zip(both.first, both.second, strict=True)):
        if both.weight[number, place].all():
            found.append((number, _level(a, place), _level(b, place)))
    return found


def _level(spectrum: LeveledSpectrum, place: slice) -> Level:
    power = spectrum.ratio[place]
    return Level(
        ratio=float(np.mean(power)),
        freedom=line_freedom(power, spectrum.rows[:, place].mean(axis=1), spectrum.segments),
        floor_freedom=spectrum.floor_freedom,
        depth=float(np.mean(spectrum.depth[place])),
    )


def pool(levels: Sequence[Level], weights: Sequence[float]) -> Level:
    """Weighted mean of independent levels; its degrees of freedom after Welch-Satterthwaite."""
    share = np.asarray(weights) / np.sum(weights)
    parts = share * np.array([level.ratio for level in levels])
    squares = float(np.sum(parts**2 / np.array([level.freedom for level in levels])))
    floors = float(np.sum(parts**2 / np.array([level.floor_freedom for level in levels])))
    total = float(np.sum(parts))
    return Level(
        ratio=total,
        freedom=total**2 / max(squares, 1e-300),
        floor_freedom=total**2 / max(floors, 1e-300),
        depth=float(np.sum(share * np.array([level.depth for level in levels]))),
    )


def participation(levels: Sequence[Level], weights: Sequence[float]) -> float:
    """How many of the speeds carry a pooled level: 1 where one of them makes nearly all of it."""
    parts = np.asarray(weights) * np.array([level.ratio for level in levels])
    return float(np.sum(parts)) ** 2 / max(float(np.sum(parts**2)), 1e-300)


def decibels(ratio: Array, shown: NDArray[np.bool_]) -> Array:
    """Levels in dB, nan where they are not shown."""
    return np.where(shown, DB_PER_NEPER * np.log(np.maximum(ratio, 1e-6)), np.nan)
