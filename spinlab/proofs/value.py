"""A chart as a frozen value: curves, points, limits and the marks that carry the proof."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# "line": a curve; "points": dots with whiskers; "bars": stems from the ground line.
Style = Literal["line", "points", "bars"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve:
    """One measured curve.

    Attributes:
        x, y: shape (n,); nan where there is nothing to draw.
        low, high: shape (n,), the 95 % interval; None where there is none.
        style: how it is drawn.
        name: said in the key of the chart, "" for the only curve.
    """

    x: Array
    y: Array
    low: Array | None = None
    high: Array | None = None
    style: Style = "line"
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A place that the reader must see, with its word.

    Attributes:
        x, y: the place.
        words: what is there.
        proof: False for what only explains another line.
    """

    x: float
    y: float
    words: str
    proof: bool = True


@dataclass(frozen=True, kw_only=True)
class Zone:
    """A limit or an allowed band, from `low` to `high` on the upright axis; a line if alike.

    Attributes:
        low, high: on the upright axis.
        words: its name.
        from_x, to_x: where it holds; None for everywhere.
    """

    low: float
    high: float
    words: str
    from_x: float | None = None
    to_x: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Chart:
    """The proof of one finding.

    Attributes:
        title: what is to be seen, in a sentence.
        x_label, y_label: with units.
        curves, marks, zones: what is drawn.
        time_axis: True where x is the file's clock in seconds.
        from_zero: True where the upright axis begins at 0.
    """

    title: str
    x_label: str
    y_label: str
    curves: tuple[Curve, ...]
    marks: tuple[Mark, ...] = ()
    zones: tuple[Zone, ...] = ()
    time_axis: bool = False
    from_zero: bool = False
