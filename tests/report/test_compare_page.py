"""The pages of a comparison and of a baseline in a real browser."""

import html

import pytest

from spinlab.baseline import hold_against, make_baseline
from spinlab.comparison import compare
from spinlab.report.compare_page import comparison_page
from spinlab.report.held_page import held_page
from tests.comparison.made import modulated
from tests.report.browser import console, measure, needs_chromium
from tests.report.test_page_in_browser import probe

PLATEAUS = ((1200.0, 7.0),)


def unit(seed, depth=0.1):
    return modulated([(4.25, depth)], seed=seed, plateaus=PLATEAUS)


@pytest.fixture(scope="module")
def pages():
    good = [unit(seed) for seed in range(1, 6)]
    worn = unit(9, depth=0.8)
    return {
        "changed": comparison_page(compare([good[0], worn])),
        "unchanged, three": comparison_page(compare(good[:3])),
        "baseline": held_page(make_baseline(good), [hold_against(make_baseline(good), worn)]),
    }


KINDS = ["changed", "unchanged, three", "baseline"]


def test_a_page_fetches_nothing(pages):
    for page in pages.values():
        assert "http://" not in page
        assert "https://" not in page
        assert "default-src 'none'" in html.unescape(page)


def test_the_outcome_is_told_in_words_and_by_shape(pages):
    assert ">Changed<" in pages["changed"]
    assert ">No change<" in pages["unchanged, three"]
    assert "Departs from the baseline" in pages["baseline"]
    assert all('aria-hidden="true"' in page for page in pages.values())


def test_a_hostile_file_name_stays_text(pages):
    from dataclasses import replace

    bad = unit(1)
    source = replace(bad.recording.source, file="<script>alert(1)</script>.wav")
    bad = replace(bad, recording=replace(bad.recording, source=source))
    assert "<script>alert" not in comparison_page(compare([bad, unit(2)]))


@needs_chromium
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("width", [320, 1280])
def test_no_width_needs_sideways_scrolling(pages, tmp_path, kind, width):
    opened = pages[kind].replace("<details", "<details open")
    inner, content = measure(
        opened, "[innerWidth, document.documentElement.scrollWidth]", tmp_path, width=width
    )
    assert content <= inner == width


@needs_chromium
@pytest.mark.parametrize("kind", KINDS)
def test_the_unchanged_page_writes_no_error_to_the_console(pages, tmp_path, kind):
    assert console(pages[kind], tmp_path) == []


@needs_chromium
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground_in_light_and_dark(pages, tmp_path, scheme):
    for page in pages.values():
        dark, poor = measure(page, probe("contrast"), tmp_path, dark=scheme == "dark")
        assert dark == (scheme == "dark")
        assert poor == []
