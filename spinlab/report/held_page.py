"""Units held against a baseline, as one self-contained page and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib import resources
from typing import Any

import numpy as np

from spinlab.baseline.value import Baseline, Held, Place, Where
from spinlab.comparison.words import band_words
from spinlab.phrase import say
from spinlab.report import words
from spinlab.report.compare_pictures import band_figure
from spinlab.report.compare_text import NOT_ASSIGNED
from spinlab.report.held_text import HELD_WORDS, about, outside_words
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.shell import rendered, style_of
from spinlab.report.small import both_shapes
from spinlab.result import plain

FORMAT = "spinlab.against-baseline"
VERSION = 1
_MOST_PICTURES = 3
METHODS = (
    say(
        "The middle is the median of the good recordings, the spread a median absolute deviation, "
        "moderated by that of all places of the same spectrum (Smyth 2004)."
    ),
    say(
        "One more good unit is expected within Student's t of the middle (prediction of one "
        "further observation; Hahn and Meeker, Statistical Intervals)."
    ),
    say(
        "All places are tested together (Benjamini and Hochberg 1995); only levels above the band "
        "are stated."
    ),
)


def held_json(baseline: Baseline, units: Sequence[Held]) -> str:
    """The units as JSON, format "spinlab.against-baseline", version 1."""
    from spinlab import __version__

    value = {
        "format": FORMAT,
        "version": VERSION,
        "software": {"name": "spinlab", "version": __version__},
        "baseline": {
            "machine": baseline.machine or None,
            "kind": baseline.kind,
            "recordings": plain(baseline.recordings),
            "left_out": plain(baseline.left_out),
        },
        "units": plain(list(units)),
    }
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def held_schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of version 1."""
    home = resources.files("spinlab.report") / "schema" / "against-baseline-1.json"
    loaded: dict[str, Any] = json.loads(home.read_text("utf-8"))
    return loaded


def held_page(baseline: Baseline, units: Sequence[Held], *, language: str = ENGLISH) -> str:
    """The whole page as the text of one HTML file; nothing is fetched, nothing is sent."""
    with speaking(language):
        return rendered(
            "held.html",
            style_of("page.css", "compare.css"),
            units=[_unit(unit) for unit in units],
            about=about(baseline),
            left_out=[
                (words.one_line(left.file), f"{100 * left.outside_share:.0f} %", left.departs)
                for left in baseline.left_out
            ],
            methods=METHODS,
        )


def _unit(unit: Held) -> dict[str, Any]:
    return {
        "value": unit,
        "file": words.one_line(unit.file),
        "state_word": tell(HELD_WORDS[unit.state]),
        "outside": outside_words(unit) if unit.outside_share is not None else "",
        "pictures": [_picture(unit, where) for where in _shown(unit)],
        "departing": [_row(place) for place in unit.places if place.departs],
    }


def _shown(unit: Held) -> list[Where]:
    """The spectra with most departures; the fastest envelope where there is none."""
    counts: dict[Where, int] = {}
    for place in unit.places:
        counts[place.where] = counts.get(place.where, 0) + place.departs
    leading = sorted(
        counts, key=lambda where: (counts[where], where.measure == "envelope", where.speed_rpm)
    )
    most = _MOST_PICTURES if any(counts.values()) else 1
    return leading[::-1][:most]


def _title(where: Where) -> str:
    if where.band is None:
        return tell("Sound at {speed:.0f} rpm", speed=where.speed_rpm)
    return tell(
        "Envelope of {band} at {speed:.0f} rpm",
        band=band_words(where.band),
        speed=where.speed_rpm,
    )


def _picture(unit: Held, where: Where) -> dict[str, Any]:
    places = [place for place in unit.places if place.where == where]
    order, level, low, high = np.array(
        [(place.order, place.level_db, place.low_db, place.high_db) for place in places]
    ).T
    marked = np.array([place.departs for place in places])
    title = _title(where)
    return {
        "alt": tell(
            "{title}: this unit's level against order, over the hatched band in which 95 % of "
            "good units are expected. Departures are listed in the table.",
            title=title,
        ),
        "shapes": both_shapes(
            lambda shape: band_figure(order, level, (low, high), marked, title=title, shape=shape)
        ),
    }


def _row(place: Place) -> dict[str, str]:
    return {
        "what": tell(place.label or NOT_ASSIGNED),
        "order": words.number(place.order, 2),
        "where": _title(place.where),
        "level": words.number(place.level_db, 1, sign=True),
        "band": tell(
            "{low} to {high}",
            low=words.number(place.low_db, 1, sign=True),
            high=words.number(place.high_db, 1, sign=True),
        ),
    }
