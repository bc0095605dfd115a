"""The invented analyses, and their pages, as fixtures made once."""

import pytest

from spinlab.report.page import page_html
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
