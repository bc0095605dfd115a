"""The index of many recordings, in text and in a real browser.  All its rows are invented."""

import html
import re

import pytest

from spinlab.report.index import STATES, IndexRow, index_html
from tests.report.browser import console, dom, measure, needs_chromium
from tests.report.test_page_in_browser import probe

HOSTILE = (
    "<script>alert(1)</script>.wav",
    '"><img src=x onerror=alert(1)>.wav',
    "a\u202ewav.exe",
    "line\nbreak\r.wav",
    "{{ 7 * 7 }}.wav",
    "javascript:alert(1)",
    "&lt;b&gt;.wav",
    "\udcff\udcfe.wav",
)


def row(name, state="clear", **more):
    return IndexRow(name=name, state=state, sentence=f"An invented sentence on {state}.", **more)


def some_rows():
    return [
        row("shop/unit-1.m4a", "fault", probability=0.9, page="pages/aa/x.html", result="r.json"),
        row(
            "shop/unit-2.m4a",
            "attention",
            probability=0.6,
            top_speed_rpm=1331.2,
            top_speed_standard_uncertainty_rpm=0.21,
            stages_reached=4,
            stages_expected=5,
            machine="belt-brushed-1400",
        ),
        row("notes.txt", "failed", failure="unreadable"),
        row("phone call.3gp", "not measurable", stages_expected=5),
        row("unit-3.m4a", "clear"),
        row("unit-4.m4a", "clear"),
    ]


def page_of(rows):
    counts = {state: sum(r.state == state for r in rows) for state in STATES}
    return "".join(index_html(iter(rows), counts=counts, table="results.csv"))


@pytest.fixture(scope="module")
def index():
    return page_of(some_rows())


def test_every_row_says_its_state_in_words_and_by_a_shape(index):
    items = re.findall(r'<li class="(\S+)"><svg class="icon"[^>]*><use href="#(\S+)"', index)
    rows = [state.replace(" ", "-") for state in (r.state for r in some_rows())]
    assert [shape for _, shape in items][-6:] == rows
    words = re.findall(r'<p class="state">(.*?)</p>', index)
    assert words == [
        *("Fault found", "Attention", "Not checked: not readable", "Not measurable"),
        *("Fine", "Fine"),
    ]


def test_numbers_carry_their_uncertainty_and_none_is_made_up(index):
    facts = re.findall(r'<p class="facts">(.*?)</p>', index)
    plain = [" ".join(re.sub("<[^>]*>", " ", fact).split()) for fact in facts]
    assert plain == [
        "probability 90 % JSON",
        "probability 60 % top speed 1331.20 ± 0.42 rpm stages reached 4 of 5 "
        "profile belt-brushed-1400",
    ]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_name_stays_text(name):
    page = page_of([row(name)])
    heading = re.search(r"<h2>(.*?)</h2>", page, re.S).group(1)
    assert "<" not in heading
    assert "\n" not in heading
    assert all(character.isprintable() for character in html.unescape(heading))
    page.encode("utf-8")
    assert page.count("<script") == 1


def test_an_empty_index_says_so():
    assert "Nothing is finished yet." in page_of([])


def test_the_page_fetches_nothing(index):
    assert "default-src 'none'" in html.unescape(index)
    assert not re.search(r"https?://", index)
    assert not re.search(r"\s(style|on\w+)=", index)


def test_ten_thousand_rows_come_piece_by_piece():
    taken = []

    def rows():
        for number in range(10_000):
            taken.append(number)
            yield row(f"{number}.wav")

    pieces = index_html(rows(), counts={"clear": 10_000})
    for piece in pieces:
        if piece == "100.wav":
            break
    assert 100 <= max(taken) < 110


FILTER = """(async () => {
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const names = () => [...document.querySelectorAll(".rows > li")]
    .filter((row) => row.offsetHeight > 0).map((row) => row.querySelector("h2").textContent);
  const search = document.querySelector("input[type=search]");
  const box = (state) => document.querySelector(`input[value=${state}]`);
  const type = async (words) => {
    search.value = words; search.dispatchEvent(new Event("input")); await wait(200);
  };
  const all = names();
  box("clear").click();
  const grave = names();
  await type("SHOP 1331");
  const found = names();
  const told = document.querySelector(".shown").textContent;
  await type("nothing like it");
  const none = names();
  await type(""); box("clear").click();
  return [all, grave, found, told, none, names().length];
})()"""


@needs_chromium
def test_words_and_states_narrow_the_list_down(index, tmp_path):
    everything, grave, found, told, none, again = measure(index, FILTER, tmp_path)
    assert everything == [r.name for r in some_rows()]
    assert grave == [r.name for r in some_rows() if r.state != "clear"]
    assert found == ["shop/unit-2.m4a"]
    assert told == "1 of 6 shown"
    assert none == []
    assert again == 6


@needs_chromium
def test_the_unchanged_page_runs_its_script_and_writes_no_error(index, tmp_path):
    assert "6 of 6 shown" in dom(index, tmp_path)
    assert console(index, tmp_path) == []


@needs_chromium
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_no_width_needs_sideways_scrolling_whatever_the_names(width, tmp_path):
    page = page_of([*some_rows(), row("x" * 300 + ".wav", machine="y" * 200)])
    inner, content = measure(
        page, "[innerWidth, document.documentElement.scrollWidth]", tmp_path, width=width
    )
    assert content <= inner == width


@needs_chromium
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground_in_light_and_dark(index, tmp_path, scheme):
    dark, poor = measure(index, probe("contrast"), tmp_path, dark=scheme == "dark")
    assert dark == (scheme == "dark")
    assert poor == []


TOUCH = """[...document.querySelectorAll("fieldset label, .rows h2 a, input[type=search]")]
  .filter((node) => node.offsetHeight > 0 && node.matches("label, input"))
  .map((node) => Math.round(node.getBoundingClientRect().height))"""


@needs_chromium
def test_a_finger_can_meet_every_control_on_a_phone(index, tmp_path):
    heights = measure(index, TOUCH, tmp_path)
    assert len(heights) == 6
    # WCAG 2.2, "target size (enhanced)": 44 CSS pixels (value from memory).
    assert min(heights) >= 40
