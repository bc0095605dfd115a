"""A lesson as one self-contained page: listen, choose, reveal; by mouse, finger or keyboard."""

from __future__ import annotations

from typing import Any

from spinlab.comparison.value import LineChange
from spinlab.comparison.words import amount
from spinlab.lesson.make import SLOW_PACE
from spinlab.lesson.value import Lesson, Listen, Question
from spinlab.recording import Recording
from spinlab.report import words
from spinlab.report.compare_page import METHODS, picture_shapes
from spinlab.report.compare_pictures import telling_curves
from spinlab.report.compare_text import letter, place_note, where
from spinlab.report.shell import rendered, text_of
from spinlab.report.sound import sound_uri

_ANSWERS = {
    "clip 1": "Clip 1",
    "clip 2": "Clip 2",
    "no difference": "Neither: at this speed the recordings prove no difference",
}


def lesson_page(lesson: Lesson) -> str:
    """The whole lesson as the text of one HTML file; nothing is fetched, nothing is sent."""
    style = text_of("page.css") + text_of("compare.css") + text_of("lesson.css")
    pair = lesson.comparison.pairs[0]
    return rendered(
        "lesson.html",
        style,
        text_of("lesson.js"),
        words=words,
        questions=[_question(lesson, n, one) for n, one in enumerate(lesson.questions, start=1)],
        recordings=[
            (letter(k), words.one_line(subject.file), subject)
            for k, subject in enumerate(lesson.comparison.subjects)
        ],
        comparison=lesson.comparison,
        statements=[statement.sentence for statement in pair.statements],
        pictures=picture_shapes(pair, telling_curves(pair)[:1]),
        place_note=place_note(lesson.comparison),
        methods=METHODS,
    )


def _question(lesson: Lesson, number: int, one: Question) -> dict[str, Any]:
    return {
        "number": number,
        "speed": words.number(one.speed_rpm, 0),
        "asked": one.asked,
        "clips": [_player(f"Clip {k}", clip) for k, clip in enumerate(one.clips, start=1)],
        "answer": one.answer,
        "answer_words": _ANSWERS[one.answer],
        "who": [
            (
                f"Clip {k}",
                letter(clip.subject),
                words.one_line(lesson.comparison.subjects[clip.subject].file),
                words.clock(clip.start_s),
            )
            for k, clip in enumerate(one.clips, start=1)
        ],
        "proof": [_proof(line, one.speed_rpm) for line in one.proof],
        "apart": [_player(letter(clip.subject), clip) for clip in one.apart],
        "apart_words": _apart(one),
    }


def _player(name: str, clip: Listen) -> dict[str, str]:
    sound = Recording(kind="sound", samples=clip.samples[None, :], rate_hz=clip.rate_hz)
    return {"name": name, "uri": sound_uri(sound) or ""}


def _apart(one: Question) -> str:
    if one.band_hz is None:
        return ""
    low, high = (words.number(edge / 1000, 1) for edge in one.band_hz)
    slow = words.number(1 / SLOW_PACE, 0)
    return f"Only {low} to {high} kHz, {slow} times slower: there the knocks can be counted."


def _proof(line: LineChange, speed_rpm: float) -> dict[str, str]:
    at = next(at for at in line.at_speeds if at.speed_rpm == speed_rpm)
    return {
        "what": line.label or "a line of unknown origin",
        "order": words.number(line.order, 2),
        "where": where(line),
        "first": words.number(at.first_db, 1, sign=True),
        "second": words.number(at.second_db, 1, sign=True),
        "change": amount(at.change_db, at.low_db, at.high_db),
    }
