"""A comparison as one self-contained page: nothing is fetched, nothing is sent."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from spinlab.comparison.statistics import ERROR_RATE
from spinlab.comparison.value import Comparison, Curves, LineChange, Pair, StageRow
from spinlab.comparison.words import amount
from spinlab.report import words
from spinlab.report.compare_pictures import (
    lines_of,
    shaking_figure,
    small_png,
    spectra_figure,
    telling_curves,
    title,
)
from spinlab.report.compare_text import (
    CHANGE_NOTE,
    CHANGE_WORDS,
    chosen_lines,
    letter,
    place_note,
    where,
)
from spinlab.report.pictures import SHEETS
from spinlab.report.shell import rendered, text_of
from spinlab.stages import Stage

_MARKS = {-1: "down", 0: "same", 1: "up"}
_MOST_LINES = 40
METHODS = (
    "Spectra are averaged over half-overlapping Hann segments of twenty turns (Welch 1967); the "
    "ratio of two averaged lines follows Fisher's F law, and is tested by Fisher's z.",
    "Places that hold a line in one recording or both are tested together (Bourgon and others "
    "2010; Benjamini and Hochberg 1995), and the "
    "intervals of stated changes are widened to hold for chosen ones (Benjamini and Yekutieli "
    "2005).",
    "The interval of a line is a generalised one (Weerahandi 1993) of what the line may be with "
    "its floor taken off. The room's own spread of a tone's level is Schroeder's (1954).",
    "The background is bracketed between what is heard at rest and in the quietest moments of the "
    "spin; the clearer recording is weakened to the other one's background before they are "
    "compared.",
)


def comparison_page(comparison: Comparison) -> str:
    """The whole comparison as the text of one HTML file."""
    return rendered(
        "compare.html",
        text_of("page.css") + text_of("compare.css"),
        words=words,
        comparison=comparison,
        state_word=CHANGE_WORDS[comparison.state],
        names=" against ".join(words.one_line(s.file) for s in comparison.subjects[:2]),
        recordings=[_recording(comparison, number) for number in range(len(comparison.subjects))],
        stages=[_stages(row) for row in comparison.stages],
        pairs=[_pair(pair) for pair in comparison.pairs],
        change_note=CHANGE_NOTE,
        place_note=place_note(comparison),
        methods=METHODS,
        error_rate=f"{100 * ERROR_RATE:.0f} %",
        version=_version(),
    )


def _version() -> str:
    from spinlab import __version__

    return __version__


def _recording(comparison: Comparison, number: int) -> dict[str, Any]:
    subject = comparison.subjects[number]
    return {
        "letter": letter(number),
        "value": subject,
        "file": words.one_line(subject.file),
        "length": words.duration(subject.duration_s),
        "state_word": words.STATE_WORDS[subject.state],
    }


def _stages(row: StageRow) -> dict[str, Any]:
    return {
        "asked": words.number(row.expected_rpm, 0) if row.expected_rpm else "extra",
        "cells": [(letter(n), *_cell(stage)) for n, stage in enumerate(row.stages)],
    }


def _cell(stage: Stage | None) -> tuple[str, str]:
    """Outcome and speed."""
    if stage is None:
        return words.NO_NUMBER, ""
    if stage.speed_rpm is None:
        return stage.outcome, ""
    return stage.outcome, words.measured(stage.speed_rpm, stage.standard_uncertainty_rpm)


def _pair(pair: Pair) -> dict[str, Any]:
    letters = (letter(pair.first), letter(pair.second))
    claimed = sorted((one for one in pair.lines if one.claimed), key=lambda one: one.order)
    return {
        "value": pair,
        "letters": letters,
        "state_word": CHANGE_WORDS[pair.state],
        "statements": [(s.sentence, _MARKS[s.direction]) for s in pair.statements],
        "chosen": [_line(one) for one in chosen_lines(pair)],
        "claimed": [_line(one) for one in claimed[:_MOST_LINES]],
        "left_out": max(0, len(claimed) - _MOST_LINES),
        "pictures": _pictures(pair),
        "speeds": [
            (
                words.number(one.expected_rpm, 0),
                f"{words.number(one.change_rpm, 1, sign=True)} ± "
                f"{words.number(2 * one.standard_uncertainty_rpm, 1)} rpm",
            )
            for one in pair.speeds
        ],
    }


def _line(line: LineChange) -> dict[str, Any]:
    told = amount(line.change_db, line.low_db, line.high_db)
    return {
        "what": line.label or "not assigned",
        "order": words.number(line.order, 2),
        "where": where(line),
        "first": words.number(line.first_db, 1, sign=True),
        "second": words.number(line.second_db, 1, sign=True),
        "change": told,
        "mark": "up" if told.startswith("up") else "down" if told.startswith("down") else "same",
        "stated": line.claimed,
        "speeds": ", ".join(
            f"{one.speed_rpm:.0f} rpm {words.number(one.first_db, 1, sign=True)} to "
            f"{words.number(one.second_db, 1, sign=True)} dB"
            for one in line.at_speeds
        ),
    }


def _pictures(pair: Pair) -> list[dict[str, Any]]:
    letters = (letter(pair.first), letter(pair.second))
    pictures = picture_shapes(pair, telling_curves(pair))
    if any(one.probability is not None for one in pair.amplitudes):
        pictures.append(
            {
                "title": "Shaking once a turn",
                "alt": f"Amplitude of the first order against speed: {letters[0]} round and solid, "
                f"{letters[1]} square and dashed. The numbers stand in the statements.",
                "shapes": {
                    shape: small_png(shaking_figure(pair.amplitudes, letters, shape))
                    for shape in SHEETS
                },
            }
        )
    return pictures


def picture_shapes(pair: Pair, shown: Sequence[Curves]) -> list[dict[str, Any]]:
    """Pictures of some spectra of a pair, for a desk and for a phone, with their words.

    Args:
        pair: whose stated changes are marked.
        shown: the spectra.
    """
    a, b = letter(pair.first), letter(pair.second)
    return [
        {
            "title": title(curves),
            "alt": f"{title(curves)}: {a} solid, {b} dashed, level over the own noise floor "
            "against order; below, the difference with the stated changes and their intervals. "
            "The numbers stand in the tables.",
            "shapes": {
                shape: small_png(spectra_figure(curves, lines_of(pair, curves), (a, b), shape))
                for shape in SHEETS
            },
        }
        for curves in shown
    ]
