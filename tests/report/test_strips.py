"""Strips under the clips of a comparison and of a lesson, in a running Chromium."""

import numpy as np
import pytest

from spinlab.comparison import compare
from spinlab.lesson import hear_both
from spinlab.report.compare_page import comparison_page
from spinlab.report.strips import COLUMNS, HALF, wave
from tests.comparison.made import logged, modulated
from tests.report.browser import listening, needs_chromium

pytest.importorskip("playwright.sync_api", reason="pip install playwright")


@pytest.fixture(scope="module", params=["changed", "lesson"])
def opened(request, compared_pages, tmp_path_factory):
    """A page as a person opens it, with everything unfolded, and what it complains of."""
    file = tmp_path_factory.mktemp("strips") / "page.html"
    file.write_text(compared_pages[request.param], "utf-8")
    with listening(file) as (tab, complaints):
        tab.locator("details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
        yield tab, complaints


@needs_chromium
def test_a_touch_on_a_strip_plays_from_there_and_the_cursor_runs_with_the_sound(opened):
    tab, complaints = opened
    strip = tab.locator(".strip").last
    strip.scroll_into_view_if_needed()
    box = strip.locator(".track").bounding_box()
    tab.mouse.click(box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"])
    length_s = float(strip.locator(".track").get_attribute("aria-valuemax"))
    for _ in range(200):
        if strip.locator("audio").evaluate("a => a.currentTime") > 0.25 * length_s + 0.4:
            break
        tab.wait_for_timeout(50)
    strip.locator("audio").evaluate("a => a.pause()")
    tab.wait_for_timeout(200)
    heard_s, share, now_s = strip.evaluate(
        "s => [s.querySelector('audio').currentTime, parseFloat(s.querySelector('.hair').style"
        ".left) / 100, Number(s.querySelector('.track').getAttribute('aria-valuenow'))]"
    )
    assert heard_s > 0.25 * length_s + 0.4
    assert now_s == pytest.approx(heard_s, abs=0.15)
    assert share == pytest.approx(heard_s / length_s, abs=0.15 / length_s)
    assert complaints == []


@needs_chromium
def test_keys_move_along_a_strip_and_it_says_where_in_the_file_that_is(opened):
    tab, complaints = opened
    strip = tab.locator(".strip").first
    strip.locator(".track").focus()
    tab.keyboard.press("Home")
    tab.keyboard.press("ArrowRight")
    tab.keyboard.press("ArrowRight")
    start_s, pace = (float(strip.get_attribute(f"data-{name}")) for name in ("start", "pace"))
    told = strip.locator(".track").get_attribute("aria-valuetext")
    minutes, seconds = told.removesuffix(" in the file").split(":")
    assert 60 * int(minutes) + float(seconds) == pytest.approx(start_s + 0.5 * pace, abs=0.06)
    assert strip.locator(".at").inner_text() == told
    assert complaints == []


@needs_chromium
def test_one_sound_silences_the_other(opened):
    tab, _ = opened
    first, second = tab.locator("audio").first, tab.locator("audio").nth(1)
    first.evaluate("a => a.play()")
    second.evaluate("a => a.play()")
    tab.wait_for_timeout(200)
    assert first.evaluate("a => a.paused")
    second.evaluate("a => a.pause()")


def test_a_strip_is_wide_where_the_sound_is_loud():
    # A sound of half a second, silence, and one half as loud: three thirds of the columns.
    third = np.sin(np.arange(8000.0))
    path = wave(np.concatenate([third, 0.0 * third, 0.5 * third]))
    heights = [HALF - int(point.split(" ")[1]) for point in path[1:-1].split("L")[:COLUMNS]]
    assert heights[100] == pytest.approx(0.9 * HALF, abs=1)
    assert heights[300] == 0
    assert heights[500] == pytest.approx(0.45 * HALF, abs=1)


def test_logs_of_shaking_are_compared_without_anything_to_hear():
    logs = [logged([(1.0, 0.5)], seed=seed) for seed in (1, 2)]
    compared = compare(logs)
    assert hear_both(*logs, compared.pairs[0].lines) == ()
    assert "<audio" not in comparison_page(compared, analyses=logs)


def test_both_sides_are_heard_in_their_own_order_and_equally_loud():
    pair = [modulated([(3.55, depth)], seed=seed) for seed, depth in ((1, 0.1), (2, 0.8))]
    questions = hear_both(*pair, compare(pair).pairs[0].lines)
    assert questions
    for one in questions:
        assert [clip.subject for clip in one.clips] == [0, 1]
        loud = [float(np.sqrt(np.mean(np.square(clip.samples)))) for clip in one.clips]
        assert loud[0] == pytest.approx(loud[1], rel=0.05)
