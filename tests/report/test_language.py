"""Another language: one file of words, and the same numbers."""

import re

import pytest

from spinlab.phrase import said
from spinlab.report.guide import guide_page, guide_text
from spinlab.report.language import current, languages, speaking, tell, tell_many
from spinlab.report.page import page_html
from spinlab.report.text import WIDTH, text_report
from spinlab.report.words import chance, measured
from tests.catalogue import LANGUAGES, codes, compiled, missing, read

FIELD = re.compile(r"\{(\w+)(![rsa])?(:[^}]*)?\}")


def entries(code):
    """(message, translation) of every entry, the two forms of a plural apart."""
    for message in read(code):
        if message.id:
            one = isinstance(message.id, str)
            ids = (message.id,) if one else message.id
            strings = (message.string,) if one else message.string
            yield from zip(ids, strings, strict=True)


def test_a_second_language_ships():
    assert languages() == ("en", "de")
    assert codes() == ["de"]


@pytest.mark.parametrize("code", codes())
def test_nothing_that_a_report_can_say_lacks_its_translation(code):
    assert missing(code) == []


@pytest.mark.parametrize("code", codes())
def test_a_translation_keeps_every_field_and_its_digits(code):
    for message, translation in entries(code):
        assert sorted(FIELD.findall(translation)) == sorted(FIELD.findall(message)), message


@pytest.mark.parametrize("code", codes())
def test_blanks_at_the_ends_are_kept_so_that_parts_can_be_joined(code):
    for message, translation in entries(code):
        assert (message[:1] == " ", message[-1:] == " ") == (
            translation[:1] == " ",
            translation[-1:] == " ",
        ), message


@pytest.mark.parametrize("code", codes())
def test_what_the_program_reads_is_compiled_from_what_people_edit(code):
    assert (LANGUAGES / code / "spinlab.mo").read_bytes() == compiled(read(code))


def test_the_report_speaks_german_with_the_same_numbers(invented):
    english, german = text_report(invented), text_report(invented, language="de")
    assert german.startswith("FEHLER GEFUNDEN: ")
    for words in ("STUFEN", "BEFUNDE", "NICHT MESSBAR WAR", "Könnte auch sein", "abweichend"):
        assert words in german
    numbers = re.compile(r"\d+[.,]\d+ ± \d+[.,]\d+")
    assert [n.replace(",", ".") for n in numbers.findall(german)] == numbers.findall(english)
    assert max(map(len, german.splitlines())) <= WIDTH


def test_the_page_speaks_german_and_says_so(invented):
    page = page_html(invented, language="de")
    assert '<html lang="de">' in page
    for words in ("Stufen des Schleuderns", "Befunde", "Nächste Prüfung", "Für den Fachmann"):
        assert words in page
    assert "1331,20 ± 0,42" in page
    body = re.sub(r"<(style|script).*?</\1>", "", page, flags=re.S)
    for words in ("Stages of", "Findings", "Next check", "Could not", "probability"):
        assert words not in body


def test_the_guide_speaks_german():
    assert "WIE EIN SCHLEUDERTEST" in guide_text(language="de")
    assert "Die Maschine" in guide_page(language="de")


def test_outside_a_block_nothing_of_the_language_remains():
    with speaking("de"):
        assert measured(1331.2345, 0.211) == "1331,23 ± 0,42"
        assert chance(0.99999) == "über 99,9 %"
        assert current().code == "de"
    assert measured(1331.2345, 0.211) == "1331.23 ± 0.42"
    assert current().code == "en"


def test_an_error_inside_a_block_ends_the_language_too():
    with pytest.raises(ZeroDivisionError), speaking("de"):
        raise ZeroDivisionError
    assert current().code == "en"


def test_a_count_takes_the_form_of_the_language():
    with speaking("de"):
        assert tell_many("the {names} stage", "the {names} stages", count=1, names="400") == (
            "die Stufe 400"
        )
        assert tell_many("the {names} stage", "the {names} stages", count=2, names="400") == (
            "die Stufen 400"
        )


def test_what_no_catalogue_knows_is_told_in_english_rather_than_not_at_all():
    with speaking("de"):
        assert tell("an invented sentence") == "an invented sentence"
        assert tell("") == ""


def test_a_language_that_does_not_ship_is_named():
    with pytest.raises(ValueError, match="no catalogue for 'xx'"), speaking("xx"):
        pass


def test_a_missing_translation_would_be_noticed():
    catalogue = read("de")
    catalogue.get("Fine").string = ""
    lacking = [m.id for m in catalogue if m.id and not m.string]
    assert lacking == ["Fine"]
    assert said("Fine", lambda *_: "Gut") == "Gut"
