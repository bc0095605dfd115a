"""The pages of a comparison and of a baseline in a real browser."""

import html

import pytest

from spinlab.comparison import compare
from spinlab.report.compare_page import comparison_page
from tests.report.browser import console, measure, needs_chromium, print_to_pdf
from tests.report.conftest import unit
from tests.report.test_page_in_browser import probe

KINDS = ["changed", "unchanged, three", "baseline", "lesson"]


def test_a_page_fetches_nothing(compared_pages):
    for page in compared_pages.values():
        assert "http://" not in page
        assert "https://" not in page
        assert "default-src 'none'" in html.unescape(page)


def test_the_outcome_is_told_in_words_and_by_shape(compared_pages):
    assert ">Changed<" in compared_pages["changed"]
    assert ">No change<" in compared_pages["unchanged, three"]
    assert "Departs from the baseline" in compared_pages["baseline"]
    assert all('aria-hidden="true"' in page for page in compared_pages.values())


def test_a_hostile_file_name_stays_text(compared_pages):
    from dataclasses import replace

    bad = unit(1)
    source = replace(bad.recording.source, file="<script>alert(1)</script>.wav")
    bad = replace(bad, recording=replace(bad.recording, source=source))
    assert "<script>alert" not in comparison_page(compare([bad, unit(2)]))


@needs_chromium
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("width", [320, 1280])
def test_no_width_needs_sideways_scrolling(compared_pages, tmp_path, kind, width):
    opened = compared_pages[kind].replace("<details", "<details open")
    inner, content = measure(
        opened, "[innerWidth, document.documentElement.scrollWidth]", tmp_path, width=width
    )
    assert content <= inner == width


@needs_chromium
@pytest.mark.parametrize("kind", KINDS)
def test_the_unchanged_page_writes_no_error_to_the_console(compared_pages, tmp_path, kind):
    assert console(compared_pages[kind], tmp_path) == []


@needs_chromium
@pytest.mark.parametrize("kind", KINDS)
def test_it_prints_to_few_sheets_of_a4(compared_pages, tmp_path, kind):
    sizes = print_to_pdf(compared_pages[kind], tmp_path)
    assert len(sizes) <= 3
    for size in sizes:
        # ISO 216: A4 is 210 x 297 mm, 595.3 x 841.9 points.
        assert size == pytest.approx((595.3, 841.9), abs=1.0)


@needs_chromium
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground_in_light_and_dark(compared_pages, tmp_path, scheme):
    for page in compared_pages.values():
        dark, poor = measure(page, probe("contrast"), tmp_path, dark=scheme == "dark")
        assert dark == (scheme == "dark")
        assert poor == []
