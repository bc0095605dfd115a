"""Two spectra over one another, and their difference with its intervals, on matplotlib axes.

No pyplot; readable without colour: the first recording is solid and thin, the other dashed and
thick, and every stated change carries an arrow and its words.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from spinlab.comparison.value import AmplitudeChange, Curves, LineChange, Pair
from spinlab.comparison.words import band_words
from spinlab.report import words
from spinlab.report.language import tell
from spinlab.report.pictures import BLUE, FAINT, INK, VERMILION, Shape

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

_SIZES: dict[Shape, tuple[float, float, float, int]] = {
    "wide": (9.6, 5.2, 9.5, 140),
    "narrow": (3.75, 5.6, 8.0, 190),
}
_MOST_LABELS: dict[Shape, int] = {"wide": 6, "narrow": 3}
# Levels below this are all noise; the axis need not go down to the deepest notch.
_LOWEST_DB = -6.0
# An interval without an end is drawn this far and ends in an arrow.
_OPEN_DB = 6.0


def spectra_figure(
    curves: Curves, lines: tuple[LineChange, ...], letters: tuple[str, str], shape: Shape
) -> Figure:
    """Both spectra above, their difference below with the stated changes on it.

    Args:
        curves: the spectra.
        lines: places of these spectra; claimed ones are marked.
        letters: names of the two recordings.
        shape: "wide" or "narrow".
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    width, height, font, dpi = _SIZES[shape]
    with rc_context({"font.size": font, "axes.edgecolor": FAINT, "text.color": INK}):
        page = Figure(figsize=(width, height), dpi=dpi, layout="constrained")
        upper, lower = page.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        draw_levels(upper, curves, letters)
        draw_changes(lower, curves, [one for one in lines if one.claimed], letters, shape)
    return page


def draw_levels(axes: Axes, curves: Curves, letters: tuple[str, str]) -> Axes:
    """Level over the own noise floor of both recordings."""
    axes.plot(curves.order, curves.first_db, color=BLUE, linewidth=0.9, label=letters[0])
    axes.plot(
        curves.order,
        curves.second_db,
        color=VERMILION,
        linewidth=1.3,
        linestyle=(0, (3, 1.5)),
        label=letters[1],
    )
    axes.axhline(0, color=FAINT, linewidth=0.8)
    axes.set_ylim(bottom=_LOWEST_DB)
    axes.set_ylabel(tell("over its own floor (dB)"))
    axes.legend(loc="upper right", ncols=2, frameon=False, handlelength=2.6)
    axes.set_title(title(curves), loc="left", fontsize="medium", color=INK)
    axes.grid(axis="y", color="#d9dde1", linewidth=0.6)
    return axes


def title(curves: Curves) -> str:
    """What the spectra are of."""
    if curves.band is None:
        felt = curves.measure == "shaking"
        return tell("Order spectrum of the shaking" if felt else "Order spectrum of the sound")
    return tell("Envelope of {band}", band=band_words(curves.band))


def draw_changes(
    axes: Axes,
    curves: Curves,
    claimed: list[LineChange],
    letters: tuple[str, str],
    shape: Shape,
) -> Axes:
    """The plain difference in grey; stated changes of the lines with their intervals."""
    axes.plot(curves.order, curves.second_db - curves.first_db, color="#9aa3ab", linewidth=0.7)
    axes.axhline(0, color=FAINT, linewidth=0.8)
    for change in claimed:
        _interval(axes, change)
    shown = sorted(claimed, key=lambda one: one.probability)[: _MOST_LABELS[shape]]
    for change in shown:
        top = _bounds(change)[1]
        axes.annotate(
            words.number(change.order, 2),
            (change.order, max(top, 0.0)),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize="small",
        )
    axes.margins(y=0.18)
    axes.set_ylabel(tell("{other} less {first} (dB)", other=letters[1], first=letters[0]))
    axes.set_xlabel(tell("Order (multiple of the drum's turning)"))
    axes.grid(axis="y", color="#d9dde1", linewidth=0.6)
    axes.set_xlim(0.0, float(curves.order[-1]))
    return axes


def _bounds(change: LineChange) -> tuple[float, float]:
    """Ends of an interval as drawn: an open one ends a little way on."""
    known = [v for v in (change.low_db, change.change_db, change.high_db) if v is not None]
    low = change.low_db if change.low_db is not None else min(known) - _OPEN_DB
    high = change.high_db if change.high_db is not None else max(known) + _OPEN_DB
    return low, high


def _interval(axes: Axes, change: LineChange) -> None:
    low, high = _bounds(change)
    axes.plot([change.order] * 2, [low, high], color=INK, linewidth=1.8, solid_capstyle="butt")
    ends = [
        (low, "v" if change.low_db is None else "_"),
        (high, "^" if change.high_db is None else "_"),
    ]
    for value, mark in ends:
        axes.plot([change.order], [value], marker=mark, color=INK, markersize=5)
    if change.change_db is not None:
        axes.plot([change.order], [change.change_db], marker="o", color=INK, markersize=4)


def shaking_figure(
    amplitudes: tuple[AmplitudeChange, ...], letters: tuple[str, str], shape: Shape
) -> Figure:
    """First-order amplitude of both logs over speed, with 95 % intervals, on a log scale."""
    return sized(shape, lambda axes: _shaking(axes, amplitudes, letters))


def _shaking(axes: Axes, amplitudes: tuple[AmplitudeChange, ...], letters: tuple[str, str]) -> None:
    styles: tuple[dict[str, Any], ...] = (
        {"color": BLUE, "marker": "o", "markerfacecolor": "white", "linestyle": "-"},
        {"color": VERMILION, "marker": "s", "linestyle": (0, (3, 1.5))},
    )
    for letter, style, which in zip(letters, styles, ("first", "second"), strict=True):
        rows = [
            (one.speed_rpm, estimate.value, 2.0 * estimate.standard_uncertainty)
            for one in amplitudes
            if one.order == 1.0 and (estimate := getattr(one, f"{which}_m_s2")) is not None
        ]
        if rows:
            speed, value, half = np.array(rows).T
            axes.errorbar(speed, value, yerr=half, label=letter, capsize=3, **style)
    axes.set_yscale("log")
    axes.set_ylabel(tell("Shaking once a turn (m/s² peak)"))
    axes.set_xlabel(tell("Drum speed (rpm)"))
    axes.set_title(tell("First order; bars are 95 % intervals"), loc="left", fontsize="medium")
    axes.grid(color="#d9dde1", linewidth=0.6, which="both")
    axes.legend(frameon=False)


def sized(shape: Shape, draw: Callable[[Axes], object]) -> Figure:
    """One pair of axes on a sheet of that shape."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    width, height, font, dpi = _SIZES[shape]
    with rc_context({"font.size": font, "axes.edgecolor": FAINT, "text.color": INK}):
        page = Figure(figsize=(width, 0.7 * height), dpi=dpi, layout="constrained")
        draw(page.subplots())
    return page


def band_figure(
    order: Array,
    level: Array,
    band: tuple[Array, Array],
    marked: Array,
    *,
    title: str,
    shape: Shape,
) -> Figure:
    """A unit's level over the hatched band of good ones, its departures marked.

    Args:
        order, level: shape (n,), level in dB.
        band: lowest and highest level of a good unit, shape (n,) each.
        marked: shape (n,), True where a departure is stated.
        title: what it is.
        shape: "wide" or "narrow".
    """
    return sized(shape, lambda axes: _band(axes, order, level, band, marked, title))


def _band(
    axes: Axes, order: Array, level: Array, band: tuple[Array, Array], marked: Array, title: str
) -> None:
    axes.fill_between(
        order,
        *band,
        facecolor="#e3e7ea",
        edgecolor="#9aa3ab",
        hatch="////",
        label=tell("good units, 95 %"),
    )
    axes.plot(
        order, level, color=BLUE, linewidth=1.3, marker=".", markersize=4, label=tell("this unit")
    )
    ring: dict[str, Any] = {"linestyle": "", "marker": "o", "markerfacecolor": "none"}
    axes.plot(
        order[marked],
        level[marked],
        markersize=9,
        markeredgecolor=VERMILION,
        markeredgewidth=1.8,
        **ring,
    )
    axes.set_title(title, loc="left", fontsize="medium")
    axes.legend(loc="upper right", frameon=False)
    axes.set_xlabel(tell("Order (multiple of the drum's turning)"))
    axes.set_ylabel(tell("Level (dB)"))
    axes.grid(axis="y", color="#d9dde1", linewidth=0.6)


def telling_curves(pair: Pair) -> tuple[Curves, ...]:
    """The spectra worth showing: the envelope with most stated changes, and the sound's or the
    log's own where it shows a change or is the only one."""
    envelopes = [c for c in pair.curves if c.measure == "envelope"]
    best = max(envelopes, key=lambda c: sum(x.claimed for x in lines_of(pair, c)), default=None)
    own = [
        c
        for c in pair.curves
        if c.measure != "envelope" and (best is None or any(x.claimed for x in lines_of(pair, c)))
    ]
    return (*([best] if best is not None else []), *own)


def lines_of(pair: Pair, curves: Curves) -> tuple[LineChange, ...]:
    """The places of one pair of spectra."""
    return tuple(
        one for one in pair.lines if (one.measure, one.band) == (curves.measure, curves.band)
    )
