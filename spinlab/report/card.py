"""One finding as a card of the page: words, proof, clip and numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from spinlab.finding import Finding
from spinlab.proofs import Chart
from spinlab.report import words
from spinlab.report.charts import chart_figure
from spinlab.report.evidence import evidence_facts, evidence_tables
from spinlab.report.language import tell
from spinlab.report.small import both_shapes


def card(
    finding: Finding, chart: Chart | None, players: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """What the template needs of one finding.

    Args:
        finding: any finding that was measured.
        chart: its proof, if a picture proves it.
        players: its clips, from `clip_players`.
    """
    return {
        "state": finding.state,
        "state_word": tell(words.STATE_WORDS[finding.state]),
        "subject": tell(finding.subject),
        "chance": None if finding.probability is None else words.chance(finding.probability),
        "reason": words.in_full(finding.reason),
        "next_step": words.in_full(finding.next_step),
        "rivals": [(tell(r.cause), words.chance(r.probability)) for r in finding.rivals],
        "pictures": None
        if chart is None
        else both_shapes(lambda shape: chart_figure(chart, shape=shape)),
        "alt": "" if chart is None else _alt(chart),
        "players": players,
        "numbers": evidence_facts(finding.evidence),
        "tables": evidence_tables(finding.evidence),
    }


def _alt(chart: Chart) -> str:
    """The chart in words: what it shows, and the marks that carry the proof."""
    marks = "; ".join(tell(mark.words) for mark in chart.marks)
    limits = "; ".join(tell(zone.words) for zone in chart.zones)
    parts = [tell(chart.title)]
    if marks:
        parts.append(tell("Marked: {marks}.", marks=marks))
    if limits:
        parts.append(tell("Limits: {limits}.", limits=limits))
    return " ".join(part if part.endswith(".") else f"{part}." for part in parts)
