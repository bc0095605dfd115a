"""A page opened in Debian's Chromium, measured from inside, without any network."""

import functools
import importlib.util
import re
import shutil
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest

CHROMIUM = shutil.which("chromium")
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None or importlib.util.find_spec("playwright") is None,
    reason="Debian's chromium or playwright is not installed: apt-get install chromium",
)
# One browser serves all tests.  It lives in a thread, since playwright's event loop would forbid
# every other loop in its own.
_THREAD = ThreadPoolExecutor(max_workers=1)


@contextmanager
def listening(file):
    """A file opened as a person opens it, where sound may play, and what the page complains of."""
    from playwright.sync_api import sync_playwright

    flags = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=flags)
        tab = browser.new_context(offline=True, viewport={"width": 390, "height": 844}).new_page()
        complaints = []
        tab.on("pageerror", lambda error: complaints.append(str(error)))
        tab.on("console", lambda message: complaints.append(message.text))
        tab.goto(file.as_uri())
        yield tab, complaints
        browser.close()


def measure(page, script, folder, *, width=390, height=844, dark=False):
    """The JSON value of `script`, an expression, evaluated inside a page of that size.

    The page is shown without its policy, so that our probe may run beside its own script.
    """
    size = {"width": width, "height": height}
    scheme = "dark" if dark else "light"
    view = {"viewport": size, "color_scheme": scheme, "bypass_csp": True}
    return _opened(page, folder, lambda tab, _: tab.evaluate(script), view)


def dom(page, folder):
    """The page's document after its scripts have run."""
    return _opened(page, folder, lambda tab, _: tab.content())


def console(page, folder):
    """Everything that the unchanged page writes to the browser's console."""
    return _opened(page, folder, lambda _, said: said)


def print_to_pdf(page, folder):
    """(width, height) in points of every sheet that the page prints to."""
    printed = _opened(page, folder, lambda tab, _: tab.pdf(prefer_css_page_size=True))
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]", printed)
    return [(float(width), float(height)) for width, height in boxes]


def close():
    """End the browser, if there is one."""
    if _started.cache_info().currsize:
        driver, browser = _THREAD.submit(_started).result()
        _THREAD.submit(browser.close).result()
        _THREAD.submit(driver.stop).result()
        _started.cache_clear()


@functools.cache
def _started():
    from playwright.sync_api import sync_playwright

    driver = sync_playwright().start()
    options = {"executable_path": CHROMIUM, "args": ["--no-sandbox"], "timeout": 0}
    return driver, driver.chromium.launch(**options)


def _opened(page, folder, action, view=None):
    copy = folder / "page.html"
    copy.write_text(page, "utf-8")

    def act():
        context = _started()[1].new_context(offline=True, **(view or {}))
        context.set_default_timeout(0)  # a busy computer is no failure
        try:
            tab, said = context.new_page(), []
            tab.on("console", lambda message: said.append(message.text))
            tab.on("pageerror", lambda error: said.append(str(error)))
            tab.goto(copy.as_uri())
            return action(tab, said)
        finally:
            context.close()

    return _THREAD.submit(act).result()
