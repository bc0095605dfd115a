"""The page's sound in a running Chromium: real time, real playback, the unchanged page."""

import pytest

from tests.report.browser import listening, needs_chromium

pytest.importorskip("playwright.sync_api", reason="pip install playwright")
pytestmark = needs_chromium


@pytest.fixture(scope="module")
def opened(page, tmp_path_factory):
    """The page as a person opens it: from a file, without a network; and what it complains of."""
    file = tmp_path_factory.mktemp("page") / "report.html"
    file.write_text(page, "utf-8")
    with listening(file) as (tab, complaints):
        yield tab, complaints


def until(tab, condition):
    """Wait for a condition of the page; asked from outside, since its policy forbids `eval`."""
    for _ in range(200):
        if tab.evaluate(condition):
            return
        tab.wait_for_timeout(50)
    pytest.fail(f"never came true: {condition}")


def cursor_s(tab):
    return float(tab.get_attribute("[role=slider]", "aria-valuenow"))


def test_a_clip_plays_and_the_cursor_runs_over_its_own_moment(opened):
    tab, complaints = opened
    tab.locator("details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
    clip = tab.locator(".clip audio").first
    clip.evaluate("clip => clip.play()")
    until(tab, "document.querySelector('.clip audio').currentTime > 0.7")
    clip.evaluate("clip => clip.pause()")
    tab.wait_for_timeout(100)
    heard_s, start_s, pace = clip.evaluate(
        "c => [c.currentTime, Number(c.dataset.start), Number(c.dataset.pace)]"
    )
    assert cursor_s(tab) == pytest.approx(start_s + pace * heard_s, abs=0.15)
    assert complaints == []


def test_only_one_sound_plays_at_a_time(opened):
    tab, _ = opened
    tab.evaluate("document.querySelector('#whole').play()")
    until(tab, "document.querySelector('#whole').currentTime > 0.2")
    tab.locator(".clip audio").first.evaluate("clip => clip.play()")
    until(tab, "document.querySelector('#whole').paused")
    tab.locator(".clip audio").first.evaluate("clip => clip.pause()")


def test_the_same_moment_can_be_heard_as_it_was_recorded(opened):
    tab, complaints = opened
    button = tab.locator(".clip .jump").first
    wanted_s = float(button.get_attribute("data-time"))
    button.click()
    until(tab, "!document.querySelector('#whole').paused")
    tab.evaluate("document.querySelector('#whole').pause()")
    heard_s = tab.evaluate("document.querySelector('#whole').currentTime")
    assert wanted_s <= heard_s + 0.05 <= wanted_s + 3.0
    assert complaints == []
