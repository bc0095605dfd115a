"""Another language: one file of words, and the same numbers."""

import ast
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

import tests.invented
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
    assert (LANGUAGES / code / "LC_MESSAGES" / "spinlab.mo").read_bytes() == compiled(read(code))


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
    assert "1331,20\u00a0±\u00a00,42" in page
    body = re.sub(r"<(style|script).*?</\1>", "", page, flags=re.S)
    for words in ("Stages of", "Findings", "Next check", "Could not", "probability"):
        assert words not in body


class Shown(HTMLParser):
    """Every string of a page that a person reads or hears."""

    def __init__(self):
        super().__init__()
        self.strings, self._hidden = set(), False

    def handle_starttag(self, tag, attrs):
        self._hidden = tag in ("script", "style")
        spoken = ("alt", "aria-label", "title", "placeholder", "aria-valuetext")
        self.strings |= {value for name, value in attrs if name in spoken and value}

    def handle_data(self, data):
        if not self._hidden and data.strip():
            self.strings.add(" ".join(data.split()))


def shown(page):
    reader = Shown()
    reader.feed(page)
    return reader.strings


# The same in both languages: names of files, software and profiles, hashes, and words that are.
ALIKE = re.compile(
    r"spinlab|[0-9a-f]{64}|\.(wav|m4a|csv|toml|flac)\b|numpy|scipy|soundfile|Python|SHA-256"
    r"|belt-brushed|generic belt drive|^(Name|Rate|Motor|Ripple)$"
)
# What the invented analysis says is plain text that no catalogue knows, and its keys no real one's.
INVENTED = [
    node.value
    for node in ast.walk(ast.parse(Path(tests.invented.__file__).read_text("utf-8")))
    if isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value
] + ["ripple rate"]


def left_in_english(english, german):
    """Words of four letters and more that a German page shares with the English one."""
    both = shown(english) & shown(german)
    return sorted(
        text
        for text in both
        if re.search(r"[A-Za-z]{4,}", text)
        and not ALIKE.search(text)
        and not any(words in text for words in INVENTED)
    )


@pytest.mark.parametrize("kind", ["changed", "unchanged, three", "baseline", "lesson"])
def test_no_string_of_a_page_of_several_recordings_stays_english(
    compared_pages, compared_pages_in_german, kind
):
    assert left_in_english(compared_pages[kind], compared_pages_in_german[kind]) == []
    assert '<html lang="de">' in compared_pages_in_german[kind]


def test_no_string_of_the_check_page_stays_english(page, invented):
    assert left_in_english(page, page_html(invented, language="de")) == []


def test_numbers_have_a_decimal_comma_throughout_a_german_page(compared_pages_in_german):
    for page in compared_pages_in_german.values():
        for text in shown(page):
            assert ALIKE.search(text) or not re.search(r"\d\.\d", text), text


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
