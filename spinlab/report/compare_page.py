"""A comparison as one self-contained page: nothing is fetched, nothing is sent."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from spinlab.comparison.statistics import ERROR_RATE
from spinlab.comparison.value import Comparison, Curves, LineChange, Pair, StageRow
from spinlab.comparison.words import amount
from spinlab.lesson import Question, hear_both
from spinlab.lesson.value import Listen
from spinlab.phrase import say
from spinlab.report import words
from spinlab.report.compare_pictures import (
    lines_of,
    shaking_figure,
    spectra_figure,
    telling_curves,
    title,
)
from spinlab.report.compare_text import (
    CHANGE_NOTE,
    CHANGE_WORDS,
    NOT_ASSIGNED,
    WAYS,
    chosen_lines,
    letter,
    pair_title,
    place_note,
    where,
)
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.shell import rendered, style_of, text_of
from spinlab.report.small import both_shapes
from spinlab.report.strips import apart_words, strip, strips_say
from spinlab.stages import Stage

if TYPE_CHECKING:
    from spinlab.analysis import Analysis

# The shape beside a statement, by its direction.
_SHAPES = {-1: "down", 0: "same", 1: "up"}
_MOST_LINES = 40
# Every speed that can be heard adds some 250 kB.
_MOST_HEARD, _MOST_SPEEDS_HEARD = 3, 2
METHODS = (
    say(
        "Spectra are averaged over half-overlapping Hann segments of twenty turns (Welch 1967); "
        "the ratio of two averaged lines follows Fisher's F law, and is tested by Fisher's z."
    ),
    say(
        "Places that hold a line in one recording or both are tested together (Bourgon and others "
        "2010; Benjamini and Hochberg 1995), and the intervals of stated changes are widened to "
        "hold for chosen ones (Benjamini and Yekutieli 2005)."
    ),
    say(
        "The interval of a line is a generalised one (Weerahandi 1993) of what the line may be "
        "with its floor taken off. The room's own spread of a tone's level is Schroeder's (1954)."
    ),
    say(
        "The background is bracketed between what is heard at rest and in the quietest moments of "
        "the spin; the clearer recording is weakened to the other one's background before they "
        "are compared."
    ),
)


def comparison_page(
    comparison: Comparison, *, analyses: Sequence[Analysis] = (), language: str = ENGLISH
) -> str:
    """The whole comparison as the text of one HTML file.

    Args:
        comparison: what `spinlab.compare` found.
        analyses: those that were compared; given, both sides of a pair can be heard.
        language: code of a language that ships.
    """
    style = style_of("page.css", "compare.css", "strips.css")
    with speaking(language):
        pairs = [_pair(pair) for pair in comparison.pairs]
        for told, pair in zip(pairs[:_MOST_HEARD], comparison.pairs, strict=False):
            told["heard"] = _heard(pair, comparison, analyses) if analyses else []
        hearable = any(told["heard"] for told in pairs)
        names = [words.one_line(one.file) for one in comparison.subjects[:2]]
        return rendered(
            "compare.html",
            style,
            text_of("strips.js") if hearable else "",
            strips_say=strips_say(),
            comparison=comparison,
            state_word=tell(CHANGE_WORDS[comparison.state]),
            names=tell("{other} against {first}", first=names[0], other=names[1]),
            recordings=[_recording(comparison, n) for n in range(len(comparison.subjects))],
            speeds=", ".join(f"{one.speed_rpm:.0f}" for one in comparison.speeds),
            stages=[_stages(row) for row in comparison.stages],
            pairs=pairs,
            place_note=place_note(comparison),
            methods=METHODS,
            error_note=tell(
                "Where nothing changed at all, the chance of stating one change or more is at "
                "most {percent:.0f} %.",
                percent=100 * ERROR_RATE,
            ),
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
        "state_word": tell(words.STATE_WORDS[subject.state]),
    }


def _stages(row: StageRow) -> dict[str, Any]:
    asked = row.expected_rpm
    return {
        "asked": tell("{speed:.0f} rpm", speed=asked) if asked else tell("held speed"),
        "cells": [(letter(n), *_cell(stage)) for n, stage in enumerate(row.stages)],
    }


def _cell(stage: Stage | None) -> tuple[str, str]:
    """Outcome and speed."""
    if stage is None:
        return words.NO_NUMBER, ""
    outcome = tell(words.OUTCOME_WORDS[stage.outcome])
    if stage.speed_rpm is None:
        return outcome, ""
    speed = words.measured(stage.speed_rpm, stage.standard_uncertainty_rpm)
    # A speed that nobody asked for is told by its row already.
    return (speed, "") if stage.outcome == "extra" else (outcome, speed)


def _pair(pair: Pair) -> dict[str, Any]:
    claimed = sorted((one for one in pair.lines if one.claimed), key=lambda one: one.order)
    return {
        "value": pair,
        "title": pair_title(pair),
        "letters": (letter(pair.first), letter(pair.second)),
        "statements": [
            (one.sentence, _SHAPES[one.direction], tell(WAYS[one.direction]).capitalize())
            for one in pair.statements
        ],
        "chosen": [_line(one) for one in chosen_lines(pair)],
        "chosen_note": tell(CHANGE_NOTE),
        "claimed": [_line(one) for one in claimed[:_MOST_LINES]],
        "claimed_title": tell(
            "Every stated change ({count} of {tests} tests)", count=len(claimed), tests=pair.tests
        ),
        "claimed_note": _claimed_note(max(0, len(claimed) - _MOST_LINES)),
        "pictures": _pictures(pair),
        "heard": [],
    }


def _heard(
    pair: Pair, comparison: Comparison, analyses: Sequence[Analysis]
) -> list[dict[str, Any]]:
    """Both recordings at their fastest shared speeds, and apart where a change was stated."""
    places = (pair.first, pair.second)
    both = hear_both(analyses[pair.first], analyses[pair.second], pair.lines)
    return [
        {
            "speed": words.number(one.speed_rpm, 0),
            "clips": [_clip(comparison, places[clip.subject], one, clip) for clip in one.clips],
            "apart": [_clip(comparison, places[clip.subject], one, clip) for clip in one.apart],
            "apart_words": apart_words(one),
        }
        for one in both[-_MOST_SPEEDS_HEARD:]
    ]


def _clip(comparison: Comparison, place: int, one: Question, clip: Listen) -> dict[str, Any]:
    file = words.one_line(comparison.subjects[place].file)
    parts = {"letter": letter(place), "speed": words.number(one.speed_rpm, 0)}
    apart = any(clip is each for each in one.apart)
    plain = tell("{letter} at {speed} rpm", **parts)
    label = tell("{letter} at {speed} rpm, apart", **parts) if apart else plain
    return strip(clip, name=f"{letter(place)}: {file}", label=label)


def _claimed_note(left_out: int) -> str:
    note = tell(
        "Level over the own noise floor, all shared speeds together, and speed by speed; "
        "intervals hold for chosen changes too."
    )
    if not left_out:
        return note
    return note + " " + tell("{count} more stand in the JSON.", count=left_out)


def _line(line: LineChange) -> dict[str, Any]:
    return {
        "what": tell(line.label or NOT_ASSIGNED),
        "order": words.number(line.order, 2),
        "where": where(line),
        "first": decibels(line.first_db),
        "second": decibels(line.second_db),
        "change": tell(amount(line.change_db, line.low_db, line.high_db)),
        "stated": line.claimed,
        "speeds": ", ".join(
            tell(
                "{speed:.0f} rpm {before} to {after}",
                speed=one.speed_rpm,
                before=words.number(one.first_db, 1, sign=True),
                after=decibels(one.second_db),
            )
            for one in line.at_speeds
        ),
    }


def decibels(value: float) -> str:
    """A level with its sign and unit."""
    return f"{words.number(value, 1, sign=True)} dB"


def _pictures(pair: Pair) -> list[dict[str, Any]]:
    letters = (letter(pair.first), letter(pair.second))
    pictures = picture_shapes(pair, telling_curves(pair))
    if any(one.probability is not None for one in pair.amplitudes):
        pictures.append(
            {
                "alt": tell(
                    "Amplitude of the first order against speed: {first} round and solid, "
                    "{other} square and dashed. The numbers stand in the statements.",
                    first=letters[0],
                    other=letters[1],
                ),
                "shapes": both_shapes(
                    lambda shape: shaking_figure(pair.amplitudes, letters, shape)
                ),
            }
        )
    return pictures


def picture_shapes(pair: Pair, shown: Sequence[Curves]) -> list[dict[str, Any]]:
    """Pictures of some spectra of a pair, for a desk and for a phone, with their words.

    Args:
        pair: whose stated changes are marked.
        shown: the spectra.
    """
    return [_picture(pair, curves) for curves in shown]


def _picture(pair: Pair, curves: Curves) -> dict[str, Any]:
    letters = (letter(pair.first), letter(pair.second))
    lines = lines_of(pair, curves)
    return {
        "alt": tell(
            "{title}: {first} solid, {other} dashed, level over the own noise floor against "
            "order; below, the difference with the stated changes and their intervals. The "
            "numbers stand in the tables.",
            title=title(curves),
            first=letters[0],
            other=letters[1],
        ),
        "shapes": both_shapes(lambda shape: spectra_figure(curves, lines, letters, shape)),
    }
