"""The page held against axe-core's rules (WCAG 2 levels A and AA, and good practice)."""

import importlib.resources
import importlib.util

import pytest

from spinlab.report.guide import guide_page
from tests.report.browser import measure, needs_chromium

pytestmark = [
    needs_chromium,
    pytest.mark.skipif(
        importlib.util.find_spec("axe_playwright_python") is None,
        reason="axe-core is not installed: pip install axe-playwright-python",
    ),
]
PROBE = """(async () => {
  for (const part of document.querySelectorAll("details")) part.open = true;
  const found = await axe.run(document, { resultTypes: ["violations"] });
  return [found.passes.length, found.violations.map((v) => [v.id, v.nodes.map((n) => n.html)])];
})()"""


def violations(page, folder, **view):
    """(rules that passed, rules broken with the elements that break them)."""
    axe = (importlib.resources.files("axe_playwright_python") / "axe.min.js").read_text("utf-8")
    script = "<script>" + axe.replace("</script", "<\\/script") + "</script></body>"
    return measure(page.replace("</body>", script), PROBE, folder, **view)


@pytest.mark.parametrize(
    ("width", "dark"), [(390, False), (1280, True)], ids=["phone", "desk, dark"]
)
def test_a_page_with_everything_open_breaks_no_rule(page, tmp_path, width, dark):
    passed, broken = violations(page, tmp_path, width=width, dark=dark)
    assert broken == []
    assert passed > 20


@pytest.mark.parametrize("kind", ["changed", "unchanged, three", "baseline", "lesson"])
@pytest.mark.parametrize(
    ("width", "dark"), [(390, True), (1280, False)], ids=["phone, dark", "desk"]
)
def test_pages_of_several_recordings_break_no_rule(compared_pages, tmp_path, kind, width, dark):
    passed, broken = violations(compared_pages[kind], tmp_path, width=width, dark=dark)
    assert broken == []
    assert passed > 20


def test_the_guide_breaks_no_rule(tmp_path):
    assert violations(guide_page(), tmp_path)[1] == []


def test_a_picture_without_words_would_be_noticed(page, tmp_path):
    assert "image-alt" in dict(violations(page.replace(' alt="', ' data-alt="'), tmp_path)[1])
