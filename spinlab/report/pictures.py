"""Pictures: a portrait drawn on matplotlib axes that the caller owns.

Each `draw_...` function takes and returns an `Axes`; `figure` sets three of them on one sheet.
No pyplot, so nothing global is touched.  Everything is readable without colour: the spectrogram
is grey with dark for loud, lines differ by dash and carry their name, tolerances are hatched.
The hues are those of Okabe and Ito (2008), "Color Universal Design", safe for the colour-blind.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from spinlab.phrase import say
from spinlab.portrait import OrderCurve, PlateauMark, Portrait
from spinlab.portrait import portrait as portray
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.words import OUTCOME_WORDS, clock, number
from spinlab.result import Analysed
from spinlab.speed.track import SteadyLine

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Shape = Literal["wide", "narrow"]

BLUE = "#0072B2"
VERMILION = "#D55E00"
GREEN = "#00694C"  # Okabe and Ito's bluish green, darkened to stand on white
INK = "#1b1f24"
FAINT = "#667079"
_DASHES: tuple[Any, ...] = ((0, (6, 2)), (0, (2, 2)), (0, (8, 2, 2, 2)), (0, (4, 4)), (0, (1, 1)))
# Levels between these percentiles share the greys; single clicks do not set the scale.
_GREY_PERCENTILES = (45.0, 99.8)

# A label beside a plateau later than this share of the file would run off the picture.
_LATEST_LEFT_LABEL = 0.65

# Height of a label as a share of the spectrogram's.
_LABEL_SHARE = 0.09
# A longer word on a tone would leave the narrow picture.
_MOST_LETTERS = 30

PICTURE_FORMATS = ("png", "svg", "pdf")


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """Size and type of one shape of picture (inches, points)."""

    width_in: float
    height_in: float
    font_pt: float
    dots_per_inch: int


SHEETS: dict[Shape, Sheet] = {
    "wide": Sheet(width_in=9.6, height_in=7.6, font_pt=9.5, dots_per_inch=140),
    "narrow": Sheet(width_in=3.75, height_in=6.4, font_pt=8.0, dots_per_inch=190),
}


_HEIGHTS = (3.2, 3.0, 1.6)
_HEIGHTS_WITHOUT_SPEED = (4.0, 1.0)
_MARGINS: dict[Shape, dict[str, float]] = {
    "wide": {"left": 0.085, "right": 0.985, "top": 0.965, "bottom": 0.065, "hspace": 0.2},
    "narrow": {"left": 0.165, "right": 0.955, "top": 0.965, "bottom": 0.08, "hspace": 0.22},
}


def figure(portrait: Portrait, *, shape: Shape = "wide") -> Figure:
    """Spectrogram, speed against programme, and departure from it, one above the other.

    Args:
        portrait: what to draw.
        shape: "wide" for a desk, print or file, "narrow" for a phone held upright.

    Returns:
        A figure whose axes share the time axis; their labels are "spectrogram", "speed" and,
        where a plateau was held, "departure".
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    sheet = SHEETS[shape]
    drawn = [draw_spectrogram, draw_speed]
    if np.any(np.isfinite(portrait.departure_rpm)):
        drawn.append(draw_departure)
    with rc_context({"font.size": sheet.font_pt, "axes.edgecolor": FAINT, "text.color": INK}):
        page = Figure(figsize=(sheet.width_in, sheet.height_in), dpi=sheet.dots_per_inch)
        heights = _HEIGHTS[: len(drawn)] if portrait.speed_known else _HEIGHTS_WITHOUT_SPEED
        axes = page.subplots(len(drawn), 1, sharex=True, height_ratios=heights)
        for draw, panel in zip(drawn, axes, strict=True):
            draw(panel, portrait)
        _time_axis(axes[-1], portrait)
        page.subplots_adjust(**_MARGINS[shape])
        page.align_ylabels(axes)
    return page


def draw_spectrogram(axes: Axes, portrait: Portrait) -> Axes:
    """The spectrogram in greys, with the lines that move with the drum dashed over it."""
    picture = portrait.spectrogram
    low, high = np.percentile(picture.level_db, _GREY_PERCENTILES)
    axes.pcolormesh(
        picture.time_s,
        picture.frequency_hz,
        picture.level_db,
        cmap="Greys",
        vmin=float(low),
        vmax=float(max(high, low + 1.0)),
        shading="nearest",
        rasterized=True,
    )
    for curve, dash in zip(portrait.curves, _DASHES, strict=False):
        _order_line(axes, portrait, curve, dash)
    for line in _apart(portrait.steady, float(picture.frequency_hz[-1])):
        axes.annotate(
            tell("{tone:.0f} Hz: {source}", tone=line.frequency_hz, source=_source(line)),
            (0.005, line.frequency_hz),
            xycoords=axes.get_yaxis_transform(),
            xytext=(0, 2),
            textcoords="offset points",
            **_label("left"),
        )
    axes.set_ylim(0, float(picture.frequency_hz[-1]) or 1.0)
    axes.set_ylabel(tell("Frequency (Hz)"))
    title = tell("What was recorded: dark is loud ({unit})", unit=picture.unit)
    axes.set_title(title, **title_style())
    axes.set_label("spectrogram")
    return axes


def _apart(lines: tuple[SteadyLine, ...], top_hz: float) -> list[SteadyLine]:
    """Of tones so near that their names would cover each other, the loudest."""
    kept: list[SteadyLine] = []
    for line in sorted(lines, key=lambda one: -one.level_db):
        near = (abs(line.frequency_hz - one.frequency_hz) for one in kept)
        if all(distance > _LABEL_SHARE * top_hz for distance in near):
            kept.append(line)
    return kept


def _source(line: SteadyLine) -> str:
    """Where a tone comes from, in words that a picture for a phone has room for."""
    short = len(line.likely_source) <= _MOST_LETTERS
    return line.likely_source if short else say("does not follow the drum")


def _order_line(axes: Axes, portrait: Portrait, curve: OrderCurve, dash: Any) -> None:
    axes.plot(portrait.time_s, curve.frequency_hz, color="white", linewidth=2.2, alpha=0.55)
    axes.plot(portrait.time_s, curve.frequency_hz, color=VERMILION, linewidth=1.0, linestyle=dash)
    last = int(np.nanargmax(curve.frequency_hz))
    axes.annotate(
        tell("{order:.3g} × drum", order=curve.order),
        (float(portrait.time_s[last]), float(curve.frequency_hz[last])),
        xytext=(-3, 3),
        textcoords="offset points",
        **_label("right"),
    )


def _label(side: str) -> dict[str, Any]:
    box = {"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.8}
    return {"ha": side, "va": "bottom", "color": INK, "fontsize": "small", "bbox": box}


def draw_speed(axes: Axes, portrait: Portrait) -> Axes:
    """The drum's speed with its 95 % band over the programme's plateaus."""
    axes.set_label("speed")
    both, alone = say("Measured speed, solid; asked for, dashed"), say("Measured speed, solid")
    axes.set_title(tell(both if _asked(portrait) else alone), **title_style())
    absolute = portrait.scale == "absolute"
    axes.set_ylabel(tell("Drum speed (rpm)") if absolute else tell("Speed (no absolute scale)"))
    if not portrait.speed_known:
        axes.set_yticks([])
        axes.text(0.5, 0.5, tell("No speed could be told."), ha="center", transform=axes.transAxes)
        return axes
    latest_s = portrait.start_s + _LATEST_LEFT_LABEL * (portrait.end_s - portrait.start_s)
    for mark in portrait.plateaus:
        _plateau(axes, mark, latest_s=latest_s)
    axes.fill_between(
        portrait.time_s, portrait.low_rpm, portrait.high_rpm, color=BLUE, alpha=0.25, linewidth=0
    )
    axes.plot(portrait.time_s, portrait.speed_rpm, color=BLUE, linewidth=1.6)
    axes.margins(y=0.15)
    axes.set_ylim(bottom=0)
    axes.grid(axis="y", color="#d9dde1", linewidth=0.6)
    return axes


def _asked(portrait: Portrait) -> bool:
    return any(mark.expected_rpm is not None for mark in portrait.plateaus)


def _plateau(axes: Axes, mark: PlateauMark, *, latest_s: float) -> None:
    """The asked speed, dashed, with a word on its outcome: under it if reached, else above it."""
    height = mark.expected_rpm if mark.expected_rpm is not None else mark.speed_rpm
    if height is None:
        return
    fine = mark.outcome == "reached"
    if mark.expected_rpm is not None and mark.held_s is not None:
        axes.plot(mark.held_s, (height, height), color=INK, dashes=(4, 2))
    elif mark.expected_rpm is not None:
        axes.axhline(height, color=FAINT, linewidth=0.9, dashes=(4, 4))
    start_s, end_s = mark.held_s or (0.01, 0.01)
    late = mark.held_s is not None and start_s > latest_s
    axes.annotate(
        f"{number(height, 0)} {tell(OUTCOME_WORDS[mark.outcome])}",
        (end_s if late else start_s, height),
        xycoords="data" if mark.held_s is not None else axes.get_yaxis_transform(),
        xytext=(-2 if late else 2, -4 if fine else 3),
        textcoords="offset points",
        ha="right" if late else "left",
        va="top" if fine else "bottom",
        fontsize="small",
        fontweight="normal" if fine else "bold",
        color=GREEN if fine else INK,
    )


def draw_departure(axes: Axes, portrait: Portrait) -> Axes:
    """Speed less the asked speed on each plateau, with the allowed band hatched."""
    for mark in portrait.plateaus:
        if mark.allowed_rpm is None or mark.held_s is None:
            continue
        axes.fill_between(
            mark.held_s,
            -mark.allowed_rpm,
            mark.allowed_rpm,
            facecolor="none",
            edgecolor="#9aa3ab",
            hatch="////",
            linewidth=0.4,
        )
    axes.axhline(0, color=FAINT, linewidth=0.8)
    axes.fill_between(
        portrait.time_s,
        portrait.departure_low_rpm,
        portrait.departure_high_rpm,
        color=BLUE,
        alpha=0.25,
        linewidth=0,
    )
    axes.plot(portrait.time_s, portrait.departure_rpm, color=BLUE, linewidth=1.4)
    axes.margins(y=0.1)
    axes.set_ylabel(tell("Off by (rpm)"))
    axes.set_title(tell("Departure on the plateaus; allowed where hatched"), **title_style())
    axes.set_label("departure")
    return axes


def title_style() -> dict[str, Any]:
    """How the title over a panel is set."""
    return {"loc": "left", "fontsize": "medium", "color": INK, "pad": 4}


def _time_axis(axes: Axes, portrait: Portrait) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axes.set_xlim(portrait.start_s, portrait.end_s)
    steps = [1, 1.5, 2, 3, 6, 10] if portrait.end_s - portrait.start_s >= 60 else None
    axes.xaxis.set_major_locator(MaxNLocator(nbins=7, steps=steps))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: clock(value)))
    axes.set_xlabel(tell("Time in the file (min:s)"))


def picture_of(analysis: Analysed, file_format: str, *, language: str = ENGLISH) -> bytes:
    """The wide picture of an analysis as the bytes of a file.

    Args:
        analysis: a finished analysis.
        file_format: one of `PICTURE_FORMATS`.
        language: code of a language that ships.
    """
    drawn = portray(analysis.recording, analysis.track, analysis.stages, analysis.machine)
    with speaking(language):
        return picture_bytes(figure(drawn), file_format=file_format)


def picture_bytes(page: Figure, *, file_format: str) -> bytes:
    """A figure as the bytes of a PNG, SVG or PDF file, the same ones every time.

    Args:
        page: from `figure`.
        file_format: one of `PICTURE_FORMATS`.
    """
    from matplotlib import rc_context

    stream = io.BytesIO()
    stamp: dict[str, Any] = {"png": {}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}
    with rc_context({"svg.hashsalt": "spinlab", "svg.fonttype": "none"}):
        page.savefig(stream, format=file_format, metadata=stamp[file_format])
    return stream.getvalue()
