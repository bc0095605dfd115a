"""The lesson's page in a real browser: nothing tells before it is asked, keys are enough."""

import re

import pytest

from spinlab.lesson import make_lesson
from spinlab.report.lesson_page import lesson_page
from tests.comparison.made import modulated
from tests.report.browser import console, measure, needs_chromium

PLATEAUS = ((1200.0, 8.0),)


@pytest.fixture(scope="module")
def made():
    return make_lesson(
        modulated([(4.3, 0.05)], seed=1, plateaus=PLATEAUS),
        modulated([(4.3, 0.8)], seed=2, plateaus=PLATEAUS),
    )


@pytest.fixture(scope="module")
def page(made):
    return lesson_page(made)


def test_what_is_seen_before_an_answer_is_opened_names_no_recording(page):
    open_part = re.sub(r"<details>.*?</details>", "", page, flags=re.S)
    open_part = re.sub(r"<(script|style)>.*?</\1>", "", open_part, flags=re.S)
    assert "made.wav" not in open_part
    assert "made.wav" in page


@needs_chromium
@pytest.mark.parametrize("width", [320, 1280])
def test_no_width_needs_sideways_scrolling_even_with_every_answer_open(page, tmp_path, width):
    opened = page.replace("<details>", "<details open>")
    inner, content = measure(
        opened, "[innerWidth, document.documentElement.scrollWidth]", tmp_path, width=width
    )
    assert content <= inner == width


@needs_chromium
def test_the_unchanged_page_writes_no_error_to_the_console(page, tmp_path):
    assert console(page, tmp_path) == []


CHOOSE = """(() => {
  const question = document.querySelector(".question");
  const check = question.querySelector(".act");
  check.click();
  const unchosen = question.querySelector(".told").textContent;
  question.querySelector("input[value='VALUE']").click();
  check.click();
  return [unchosen, question.querySelector(".told").textContent,
    question.querySelector("details").open, document.querySelector(".score").textContent];
})()"""


@needs_chromium
@pytest.mark.parametrize("right", [True, False])
def test_a_choice_is_checked_counted_and_proven(page, made, tmp_path, right):
    answer = made.questions[0].answer
    value = answer if right else "no difference"
    unchosen, told, opened, score = measure(page, CHOOSE.replace("VALUE", value), tmp_path)
    assert unchosen == "Choose an answer first."
    assert told.startswith("Right" if right else "Not so")
    assert opened
    assert score.startswith(f"{int(right)} of 1 answered right")


REACHED = """(() => [...document.querySelectorAll(
  "audio[controls], input, button, summary")].every((one) => one.tabIndex >= 0))()"""


@needs_chromium
def test_everything_can_be_reached_by_key(page, tmp_path):
    assert measure(page, REACHED, tmp_path) is True
    assert 'tabindex="-1"' not in page
