"""A lesson as one self-contained page: listen, choose, reveal; by mouse, finger or keyboard."""

from __future__ import annotations

from typing import Any

from spinlab.comparison.value import LineChange
from spinlab.comparison.words import amount
from spinlab.lesson.value import Lesson, Listen, Question
from spinlab.phrase import say
from spinlab.report import words
from spinlab.report.compare_page import METHODS, decibels, picture_shapes
from spinlab.report.compare_pictures import telling_curves
from spinlab.report.compare_text import NOT_ASSIGNED, letter, place_note, where
from spinlab.report.language import ENGLISH, speaking, tell, tell_many
from spinlab.report.shell import rendered, style_of, text_of
from spinlab.report.strips import apart_words, strip, strips_say

_ANSWERS = {
    "clip 1": say("Clip {number}", number=1),
    "clip 2": say("Clip {number}", number=2),
    "no difference": say("Neither: at this speed the recordings prove no difference"),
}
# What the page's script says, by the name it asks for; fields in braces are filled by the script.
_TOLD = {
    "choose": say("Choose an answer first."),
    "right": say("Right. The proof is below."),
    "wrong": say("Not so. Listen again with the proof below."),
    "revealed": say("Revealed before a choice was made."),
    "score": say("{{right}} of {{done}} answered right, {{left}} to go."),
}


def lesson_page(lesson: Lesson, *, language: str = ENGLISH) -> str:
    """The whole lesson as the text of one HTML file; nothing is fetched, nothing is sent.

    Args:
        lesson: from `spinlab.make_lesson`.
        language: code of a language that ships.
    """
    style = style_of("page.css", "compare.css", "strips.css", "lesson.css")
    pair, count = lesson.comparison.pairs[0], len(lesson.questions)
    with speaking(language):
        start = tell_many("{count} question.", "{count} questions.", count=count)
        return rendered(
            "lesson.html",
            style,
            text_of("strips.js") + text_of("lesson.js"),
            questions=[_question(lesson, n, one) for n, one in enumerate(lesson.questions, 1)],
            recordings=[
                (letter(k), words.one_line(subject.file), subject)
                for k, subject in enumerate(lesson.comparison.subjects)
            ],
            comparison=lesson.comparison,
            statements=[statement.sentence for statement in pair.statements],
            pictures=picture_shapes(pair, telling_curves(pair)[:1]),
            place_note=place_note(lesson.comparison),
            methods=METHODS,
            strips_say=strips_say(),
            told={name: tell(text) for name, text in _TOLD.items()} | {"start": start},
        )


def _question(lesson: Lesson, number: int, one: Question) -> dict[str, Any]:
    return {
        "number": number,
        "speed": words.number(one.speed_rpm, 0),
        "asked": one.asked,
        "clips": [
            _player(tell("Clip {number}", number=k), number, clip)
            for k, clip in enumerate(one.clips, start=1)
        ],
        "answer": one.answer,
        "answer_words": tell(_ANSWERS[one.answer]),
        "who": [_who(lesson, k, clip) for k, clip in enumerate(one.clips, start=1)],
        "proof": [_proof(line, one.speed_rpm) for line in one.proof],
        "apart": [
            _player(tell("{letter}, apart", letter=letter(clip.subject)), number, clip)
            for clip in one.apart
        ],
        "apart_words": apart_words(one),
    }


def _player(name: str, question: int, clip: Listen) -> dict[str, Any]:
    label = tell("Question {number}, {clip}", number=question, clip=name)
    return strip(clip, name=name, label=label)


def _who(lesson: Lesson, number: int, clip: Listen) -> str:
    return tell(
        "Clip {number} is {letter}: {file}, from {start} in the file.",
        number=number,
        letter=letter(clip.subject),
        file=words.one_line(lesson.comparison.subjects[clip.subject].file),
        start=words.clock(clip.start_s),
    )


def _proof(line: LineChange, speed_rpm: float) -> dict[str, str]:
    at = next(at for at in line.at_speeds if at.speed_rpm == speed_rpm)
    return {
        "what": tell(line.label or NOT_ASSIGNED),
        "order": words.number(line.order, 2),
        "where": where(line),
        "first": decibels(at.first_db),
        "second": decibels(at.second_db),
        "change": tell(amount(at.change_db, at.low_db, at.high_db)),
    }
