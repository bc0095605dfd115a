"""The invented analyses, and their pages, as fixtures made once."""

from functools import partial

import pytest

from spinlab.baseline import hold_against, make_baseline
from spinlab.comparison import compare
from spinlab.lesson import make_lesson
from spinlab.report.compare_page import comparison_page
from spinlab.report.held_page import held_page
from spinlab.report.lesson_page import lesson_page
from spinlab.report.page import page_html
from tests.comparison.made import modulated
from tests.invented import make_invented, make_nothing_known
from tests.report import browser


@pytest.fixture(scope="session", autouse=True)
def _one_browser():
    yield
    browser.close()


@pytest.fixture(scope="session")
def invented():
    return make_invented()


@pytest.fixture(scope="session")
def nothing_known():
    return make_nothing_known()


@pytest.fixture(scope="session")
def page(invented):
    return page_html(invented)


@pytest.fixture(scope="session")
def silent_page(nothing_known):
    return page_html(nothing_known)


def unit(seed, depth=0.1):
    """A unit made by formula; a deep line at order 4.25 makes it a worn one."""
    return modulated([(4.25, depth)], seed=seed, plateaus=((1200.0, 7.0),))


@pytest.fixture(scope="session")
def compared():
    """What pages of several recordings are made of, each with the function that makes the page."""
    good, worn = [unit(seed) for seed in range(1, 6)], unit(9, depth=0.8)
    baseline = make_baseline(good)
    heard = partial(comparison_page, analyses=[good[0], worn])
    return {
        "changed": (heard, compare([good[0], worn])),
        "unchanged, three": (comparison_page, compare(good[:3])),
        "baseline": (held_page, baseline, [hold_against(baseline, worn)]),
        "lesson": (lesson_page, make_lesson(good[0], worn)),
    }


@pytest.fixture(scope="session")
def compared_pages(compared):
    return {name: made(*given) for name, (made, *given) in compared.items()}


@pytest.fixture(scope="session")
def compared_pages_in_german(compared):
    return {name: made(*given, language="de") for name, (made, *given) in compared.items()}
