"""The squared envelope's order spectrum with the harmonics of the damage marked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from spinlab.bearings.evidence import BearingEvidence, EnvelopeCurve
from spinlab.finding import Finding
from spinlab.phrase import Phrase, say
from spinlab.proofs.value import Array, Chart, Curve, Mark, Zone
from spinlab.result import Analysed

# Orders shown beyond the last marked line, and where nothing is marked.
_HEADROOM = 1.25
_ORDERS_WITHOUT_MARKS = 16.0
# So many points at most; of each group the highest is kept, so that no line is lost.
_MOST_POINTS = 1200
_LOWEST_DB = 0.0
# The trade's names of the rates beside what they mean (ball pass, ball spin, cage).
_PARTS = {
    "BPFO": say("outer race"),
    "BPFI": say("inner race"),
    "2xBSF": say("ball"),
    "BSF": say("ball"),
    "FTF": say("cage"),
}
# An order is given to three decimals; a band's edges count as the same within a hertz.
_SAME_ORDER, _SAME_HZ = 0.01, 1.0


def envelope_chart(finding: Finding, analysis: Analysed) -> Chart | None:
    """Level over order of the band in which the damage shows, or would show.

    None where the spectrum that was kept belongs to another band.
    """
    evidence: BearingEvidence | None = getattr(analysis, "bearings", None)
    if evidence is None or evidence.curve is None:
        return None
    seen, curve = finding.evidence, evidence.curve
    marked = _lines(seen)
    band = seen.get("band_hz")
    if marked and band is not None and abs(band[0] - curve.band.low_hz) > _SAME_HZ:
        return None
    if finding.state != "clear" and not marked:
        return None
    highest = max([order for order, _ in marked], default=_ORDERS_WITHOUT_MARKS / _HEADROOM)
    threshold_db = 10.0 * float(np.log10(curve.threshold))
    order, level_db = _thinned(curve, _HEADROOM * highest)
    return Chart(
        title=say(
            "How often the noise from {low:.0f} to {high:.0f} Hz swells per drum turn "
            "(envelope order spectrum)",
            low=curve.band.low_hz,
            high=curve.band.high_hz,
        ),
        x_label=say("Times per drum turn (order)"),
        y_label=say("Above the noise (dB)"),
        curves=(Curve(x=order, y=level_db),),
        marks=tuple(
            Mark(x=place, y=_top(order, level_db, place), words=words) for place, words in marked
        )
        + _once_a_turn(order, level_db, threshold_db),
        zones=(
            Zone(
                low=threshold_db,
                high=threshold_db,
                words=say("noise alone passes this once in a hundred recordings"),
            ),
        ),
        from_zero=True,
    )


def _lines(seen: Mapping[str, Any]) -> list[tuple[float, Phrase]]:
    """(order, name) of every harmonic of the finding: the first in full, for names lie close."""
    rows = seen.get("harmonics", ())
    return [
        (float(row["order"]), _in_plain_words(str(row["label"]), short=number > 0))
        for number, row in enumerate(rows)
    ]


def _in_plain_words(label: str, *, short: bool) -> Phrase:
    """ "2 x BPFO" as "2 × outer race", or "2 ×" where that was said."""
    times, _, rate = label.partition(" x ")
    part = _PARTS.get(rate)
    if part is None:
        return say("{label}", label=label)
    if short:
        return say("{times} ×", times=times)
    return say("{times} × {part}", times=times, part=part)


def _once_a_turn(order: Array, level_db: Array, threshold_db: float) -> tuple[Mark, ...]:
    """The drum's own turn, where it stands out: so that nobody takes it for a bearing."""
    height = _top(order, level_db, 1.0)
    if height < threshold_db:
        return ()
    return (Mark(x=1.0, y=height, words=say("once per turn"), proof=False),)


def _thinned(curve: EnvelopeCurve, highest: float) -> tuple[Array, Array]:
    inside = np.flatnonzero((curve.order > 0) & (curve.order <= highest))
    order, level = curve.order[inside], np.maximum(curve.level[inside], 1.0)
    group = max(1, -(-len(order) // _MOST_POINTS))
    whole = len(order) // group * group
    rows = level[:whole].reshape(-1, group)
    kept = np.arange(len(rows)) * group + rows.argmax(axis=1)
    return order[kept], np.maximum(10.0 * np.log10(level[kept]), _LOWEST_DB)


def _top(order: Array, level_db: Array, place: float) -> float:
    near = np.abs(order - place) < max(_SAME_ORDER, 0.004 * place)
    return float(level_db[near].max()) if near.any() else float(np.interp(place, order, level_db))
