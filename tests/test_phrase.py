"""A phrase is an ordinary English string, and can still be said in another language."""

import copy
import json
import pickle

import pytest

from spinlab.phrase import Phrase, join, listed, many, said, say, sentence

GERMAN = {
    "the drum turns at {rpm:.1f} rpm": "die Trommel dreht mit {rpm:.1f} U/min",
    "worn bearing": "verschlissenes Lager",
    "{count} ramp": "{count} Rampe",
    "{first} and {last}": "{first} und {last}",
    "inner race": "Innenring",
    "outer race": "Außenring",
    "found: {what}": "gefunden: {what}",
}


def german(pattern, plural, count):
    if plural:
        return "{count} Rampe" if count == 1 else "{count} Rampen"
    return GERMAN.get(pattern, pattern)


def in_german(text):
    return said(text, german, decimal_mark=",")


def test_a_phrase_is_the_english_sentence_wherever_a_string_is_wanted():
    phrase = say("the drum turns at {rpm:.1f} rpm", rpm=399.96)
    assert phrase == "the drum turns at 400.0 rpm"
    assert json.dumps({"reason": phrase}) == '{"reason": "the drum turns at 400.0 rpm"}'
    assert hash(phrase) == hash("the drum turns at 400.0 rpm")


def test_numbers_are_put_into_the_translated_pattern_with_its_decimal_mark():
    phrase = say("the drum turns at {rpm:.1f} rpm", rpm=399.96)
    assert in_german(phrase) == "die Trommel dreht mit 400,0 U/min"


def test_a_phrase_inside_a_phrase_is_translated_too():
    assert in_german(say("found: {what}", what=say("worn bearing"))) == (
        "gefunden: verschlissenes Lager"
    )
    assert in_german(join("; ", ["worn bearing", "inner race"])) == (
        "verschlissenes Lager; Innenring"
    )
    assert in_german(listed([say("inner race"), say("outer race")])) == "Innenring und Außenring"


def test_adding_and_finishing_phrases_keeps_them_translatable():
    phrase = sentence("worn bearing" + say(": {what}", what=say("outer race")))
    assert phrase == "Worn bearing: outer race."
    assert in_german(phrase) == "Verschlissenes Lager: Außenring."


def test_a_sentence_that_ends_with_a_mark_of_its_own_keeps_it():
    assert sentence("drained?") == "Drained?"
    assert sentence("It is.") == "It is."


@pytest.mark.parametrize(("count", "text"), [(1, "1 Rampe"), (0, "0 Rampen"), (3, "3 Rampen")])
def test_a_count_chooses_the_form(count, text):
    assert in_german(many("{count} ramp", "{count} ramps", count=count)) == text


def test_what_no_catalogue_knows_stays_english():
    assert in_german(say("never seen {n:.1f}", n=1.5)) == "never seen 1,5"
    assert in_german("plain words") == "plain words"


def test_braces_and_marks_in_outside_text_are_left_alone():
    assert say("file {name}", name="{rpm}.wav") == "file {rpm}.wav"
    assert in_german(say("file {name}", name="a.b{0}.wav")) == "file a.b{0}.wav"


def test_a_phrase_survives_copying_and_pickling():
    phrase = sentence(many("{count} ramp", "{count} ramps", count=2))
    for twin in (pickle.loads(pickle.dumps(phrase)), copy.deepcopy(phrase)):
        assert isinstance(twin, Phrase)
        assert twin == phrase
        assert in_german(twin) == "2 Rampen."
