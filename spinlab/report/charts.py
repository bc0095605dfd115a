"""Drawing a proof: curves in grey and blue, limits dashed, and the proof itself marked in words.

As in `pictures`, nothing here is told by hue alone: points have whiskers, bars have hatches, limits
have their name on them, and each mark is a ring with its words beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from spinlab.proofs import Chart, Curve, Mark, Zone
from spinlab.report.language import tell
from spinlab.report.pictures import BLUE, FAINT, INK, VERMILION, Shape, Sheet, title_style
from spinlab.report.words import clock

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CHART_SHEETS: dict[Shape, Sheet] = {
    "wide": Sheet(width_in=8.0, height_in=3.1, font_pt=9.0, dots_per_inch=130),
    "narrow": Sheet(width_in=3.75, height_in=3.0, font_pt=8.0, dots_per_inch=180),
}
_MARGINS: dict[Shape, dict[str, float]] = {
    "wide": {"left": 0.085, "right": 0.98, "top": 0.9, "bottom": 0.155},
    "narrow": {"left": 0.165, "right": 0.96, "top": 0.83, "bottom": 0.165},
}
_TITLE_LETTERS: dict[Shape, int] = {"wide": 110, "narrow": 50}
_HATCHES = ("", "////")
# Words of marks nearer than this share of the width to the right edge stand left of their ring.
_LATE_SHARE = 0.62
# Words stand so far above their ring, and a limit's name takes so much room above its line.
_WORDS_ABOVE_PT, _NAME_PT = 6.0, 12.0


def chart_figure(chart: Chart, *, shape: Shape = "wide") -> Figure:
    """One proof on a sheet of its own.

    Args:
        chart: what to draw.
        shape: "wide" for a desk, print or file, "narrow" for a phone held upright.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    sheet = CHART_SHEETS[shape]
    with rc_context({"font.size": sheet.font_pt, "axes.edgecolor": FAINT, "text.color": INK}):
        page = Figure(figsize=(sheet.width_in, sheet.height_in), dpi=sheet.dots_per_inch)
        draw_chart(page.subplots(), chart, letters=_TITLE_LETTERS[shape])
        page.subplots_adjust(**_MARGINS[shape])
    return page


def draw_chart(axes: Axes, chart: Chart, *, letters: int = 110) -> Axes:
    """Draw a proof on axes that the caller owns; titles break after so many letters."""
    import textwrap

    for curve, hatch in zip(chart.curves, _HATCHES, strict=False):
        _curve(axes, curve, hatch)
    _limits(axes, chart)
    for zone in chart.zones:
        _zone(axes, zone)
    for mark in chart.marks:
        _mark(axes, mark, chart.zones)
    axes.set_title("\n".join(textwrap.wrap(tell(chart.title), letters)), **title_style())
    axes.set_xlabel(tell(chart.x_label))
    axes.set_ylabel(tell(chart.y_label))
    axes.grid(axis="y", color="#e3e6e9", linewidth=0.6)
    axes.set_axisbelow(True)
    if any(curve.name for curve in chart.curves):
        axes.legend(loc="upper right", fontsize="small", frameon=False)
    _numbers(axes, chart)
    return axes


def _curve(axes: Axes, curve: Curve, hatch: str) -> None:
    name = tell(curve.name) if curve.name else None
    if curve.style == "line":
        if curve.low is not None and curve.high is not None:
            axes.fill_between(curve.x, curve.low, curve.high, color=BLUE, alpha=0.25, linewidth=0)
        axes.plot(curve.x, curve.y, color=BLUE, linewidth=1.1, label=name)
        return
    spread: Any = None
    if curve.low is not None and curve.high is not None:
        spread = np.maximum([curve.y - curve.low, curve.high - curve.y], 0)
    if curve.style == "bars":
        width = 0.3 if len(curve.x) < 2 else 0.3 * min(1.0, float(np.min(np.diff(curve.x))))
        axes.bar(
            curve.x, curve.y, width=max(width, 0.2), label=name, hatch=hatch,
            facecolor="white" if hatch else BLUE, edgecolor=BLUE,
        )  # fmt: skip
        if spread is not None:
            axes.errorbar(curve.x, curve.y, spread, fmt="none", ecolor=INK, elinewidth=0.9)
        return
    axes.errorbar(
        curve.x, curve.y, spread, fmt="o", markersize=4, color=BLUE, ecolor=INK,
        elinewidth=0.9, capsize=2, label=name,
    )  # fmt: skip


def _limits(axes: Axes, chart: Chart) -> None:
    """Room for everything that is drawn, and for the words above it."""
    heights = [
        np.asarray(part) for c in chart.curves for part in (c.y, c.high, c.low) if part is not None
    ]
    heights += [np.array([edge for z in chart.zones for edge in (z.low, z.high)])]
    every = np.concatenate([part[np.isfinite(part)] for part in heights])
    low, high = float(every.min()), float(every.max())
    room = (high - low) or max(abs(high), 1.0)
    axes.set_ylim(0.0 if chart.from_zero else low - 0.15 * room, high + 0.25 * room)
    if all(curve.style == "line" for curve in chart.curves):
        spans = [curve.x[np.isfinite(curve.y)] for curve in chart.curves]
        axes.set_xlim(min(float(x[0]) for x in spans), max(float(x[-1]) for x in spans))
    else:
        axes.margins(x=0.08)


def _zone(axes: Axes, zone: Zone) -> None:
    if zone.high > zone.low:
        axes.axhspan(
            zone.low, zone.high, facecolor="none", edgecolor="#b4bbc2", hatch="////", linewidth=0.4
        )
    else:
        axes.axhline(zone.low, color=INK, linewidth=1.0, dashes=(5, 3))
    axes.annotate(
        tell(zone.words),
        (0.008, zone.high),
        xycoords=axes.get_yaxis_transform(),
        xytext=(0, 2),
        textcoords="offset points",
        va="bottom",
        fontsize="small",
        bbox=_BOX,
    )


_BOX = {"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8}


def _clear_of(axes: Axes, height: float, zones: Sequence[Zone]) -> float:
    """How many points above a ring its words stand, so that they cover no limit or its name."""
    low, high = axes.get_ylim()
    per_unit = axes.bbox.height / axes.figure.dpi * 72.0 / (high - low)
    above = _WORDS_ABOVE_PT
    for zone in sorted(zones, key=lambda one: one.high):
        limit = (zone.high - height) * per_unit
        if above - _NAME_PT < limit < above + _NAME_PT:
            above = limit + _NAME_PT
    return above


def _mark(axes: Axes, mark: Mark, zones: Sequence[Zone]) -> None:
    if mark.proof:
        axes.plot([mark.x], [mark.y], "o", ms=11, fillstyle="none", color=VERMILION, mew=1.8)
    left, right = axes.get_xlim()
    late = (mark.x - left) / (right - left or 1.0) > _LATE_SHARE
    axes.annotate(
        tell(mark.words),
        (mark.x, mark.y),
        xytext=(-9 if late else 9, _clear_of(axes, mark.y, zones)),
        textcoords="offset points",
        ha="right" if late else "left",
        va="bottom",
        fontsize="small",
        fontweight="bold" if mark.proof else "normal",
        color=INK if mark.proof else FAINT,
        bbox=_BOX,
    )


def _numbers(axes: Axes, chart: Chart) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(nbins=7, min_n_ticks=3))
    if chart.time_axis:
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: clock(value)))
