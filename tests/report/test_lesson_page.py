"""The lesson's page in a real browser: nothing tells before it is asked, keys are enough."""

import re

import pytest

from tests.report.browser import measure, needs_chromium


@pytest.fixture(scope="module")
def made(compared):
    return compared["lesson"][1]


@pytest.fixture(scope="module")
def page(compared_pages):
    return compared_pages["lesson"]


def test_what_is_seen_before_an_answer_is_opened_names_no_recording(page):
    open_part = re.sub(r"<details>.*?</details>", "", page, flags=re.S)
    open_part = re.sub(r"<(script|style)>.*?</\1>", "", open_part, flags=re.S)
    assert "made.wav" not in open_part
    assert "made.wav" in page


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
