"""Pictures small enough to travel inside a page.

Greys and each hue of the drawings, faded towards white: a picture of so few colours weighs a third
of the full one.  The lightest greys become white, so that paper stays paper.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from typing import TYPE_CHECKING, TypedDict

import numpy as np

from spinlab.report.pictures import BLUE, FAINT, GREEN, INK, SHEETS, VERMILION, Shape

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_GREYS, _FADES, _PAPER = 100, 20, 0.97


class Travelling(TypedDict):
    """One picture as the page's template needs it."""

    uri: str
    left: float
    right: float
    width: int
    height: int


def both_shapes(draw: Callable[[Shape], Figure]) -> dict[Shape, Travelling]:
    """A drawing for a desk and for a phone held upright, each ready to stand in a page.

    Args:
        draw: makes the figure of one shape; its first axes carry the time axis.
    """
    return {shape: _travelling(draw(shape)) for shape in SHEETS}


def _travelling(page: Figure) -> Travelling:
    left, _, width, _ = page.axes[0].get_position().bounds
    across, up = page.get_size_inches() * page.dpi
    return {
        "uri": "data:image/png;base64," + base64.b64encode(_small_png(page)).decode("ascii"),
        "left": round(left, 5),
        "right": round(left + width, 5),
        "width": round(across),
        "height": round(up),
    }


def _small_png(page: Figure) -> bytes:
    from PIL import Image

    stream = io.BytesIO()
    page.savefig(stream, format="png")
    full = Image.open(stream).convert("RGB")
    few = Image.new("P", (1, 1))
    few.putpalette(_palette())
    small = io.BytesIO()
    full.quantize(palette=few, dither=Image.Dither.NONE).save(small, format="PNG", optimize=True)
    return small.getvalue()


def _palette() -> bytes:
    from matplotlib.colors import to_rgb

    greys = np.linspace(0, 1, _GREYS)
    colours = [np.full(3, grey if grey < _PAPER else 1.0) for grey in greys]
    for hue in (BLUE, VERMILION, GREEN, INK, FAINT):
        tone = np.array(to_rgb(hue))
        colours += [tone + fade * (1 - tone) for fade in np.linspace(0, 0.85, _FADES)]
    return np.round(255 * np.array(colours)).astype(np.uint8).tobytes()
