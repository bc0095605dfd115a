"""Screenshots of every page, for looking at: `python -m tests.pictures_of_pages [FOLDER]`.

Pages of the demo recordings (invented units, nothing measured) are opened in Debian's Chromium as a
phone and a desk show them, and printed to A4 sheets, which poppler's `pdftoppm` draws
(`apt-get install chromium poppler-utils`).  A README.md beside them lists what is there.  `--only
NAME` makes one of them; `--keep` leaves the pages beside their pictures.
"""

from __future__ import annotations

import argparse
import functools
import io
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

PROJECT = Path(__file__).parent.parent
DEMOS = PROJECT / "recordings_demo"
TARGET = PROJECT / "docs" / "pages"
CHECKS = {
    "healthy": ("healthy.flac", "unit-a"),
    "unbalanced": ("unbalanced.csv", "unit-e"),
    "worn-bearing": ("worn-rear-bearing.flac", "unit-f"),
    "not-measurable": ("direct-drive-call.3gp", "unit-g"),
}
PAIR = ("healthy", "worn-bearing")
README = """# What the pages look like

Screenshots of the demo recordings' pages: an invented workshop with invented units; nothing was
measured. Each page as a phone (390 pixels wide) and a desk (1280) show it, and printed to A4; tall
ones are cut. Made, with this list, by

```sh
python -m tests.pictures_of_pages      # needs Debian's chromium and poppler-utils
```

| page | phone | desk | paper |
|---|---|---|---|
"""
WIDTHS = {"phone": 390, "desk": 1280}
# All pictures together, in bytes: they travel with every clone.
MOST_BYTES = 3_000_000
# Taller ones are cut: what follows is for experts, and nobody scrolls through a picture.
MOST_HEIGHT = 3600
_COLOURS = 48
_SHEET_DPI = 80


@functools.cache
def analysed(name: str) -> object:
    """A demo recording's analysis."""
    from spinlab import analyse, load_machine, read

    file, profile = CHECKS[name]
    return analyse(read(DEMOS / file), load_machine(DEMOS / "profiles" / f"{profile}.toml"))


def pages() -> dict[str, Callable[[], str]]:
    """Every page by its name."""
    return {
        **{name: functools.partial(_checked, name) for name in CHECKS},
        "compare": _compared,
        "lesson": _lesson,
    }


def _checked(name: str) -> str:
    from spinlab.report.page import page_html

    return page_html(analysed(name))


def _compared() -> str:
    from spinlab import compare
    from spinlab.report.compare_page import comparison_page

    analyses = [analysed(name) for name in PAIR]
    return comparison_page(compare(analyses), analyses=analyses)


def _lesson() -> str:
    from spinlab import make_lesson
    from spinlab.report.lesson_page import lesson_page

    return lesson_page(make_lesson(*(analysed(name) for name in PAIR)))


def pictures(page: Path) -> Iterator[tuple[str, bytes]]:
    """(kind, PNG) of a page on a phone, on a desk, and of its printed sheets."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        options = {"executable_path": shutil.which("chromium"), "args": ["--no-sandbox"]}
        browser = driver.chromium.launch(**options, timeout=0)
        for kind, width in WIDTHS.items():
            tab = browser.new_page(viewport={"width": width, "height": 900})
            tab.set_default_timeout(0)
            tab.goto(page.as_uri())
            yield kind, tab.screenshot(full_page=True)
        sheets = tab.pdf(prefer_css_page_size=True)
        browser.close()
    for number, sheet in enumerate(_drawn(sheets), start=1):
        yield f"print-{number}", sheet


def _drawn(document: bytes) -> Iterator[bytes]:
    """The sheets of a PDF as PNG."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "page.pdf").write_bytes(document)
        command = ["pdftoppm", "-png", "-r", str(_SHEET_DPI), "page.pdf", "sheet"]
        subprocess.run(command, cwd=folder, check=True)
        for sheet in sorted(Path(folder).glob("sheet*.png")):
            yield sheet.read_bytes()


def small(picture: bytes) -> bytes:
    """The same with few colours, cut below `MOST_HEIGHT`."""
    from PIL import Image

    full = Image.open(io.BytesIO(picture)).convert("RGB")
    shown = full.crop((0, 0, full.width, min(full.height, MOST_HEIGHT)))
    few = shown.quantize(colors=_COLOURS, dither=Image.Dither.NONE)
    stream = io.BytesIO()
    few.save(stream, format="PNG", optimize=True)
    return stream.getvalue()


def main() -> int:
    """Make the pictures; 1 where they weigh too much."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=TARGET)
    parser.add_argument("--only", choices=pages(), help="one page")
    parser.add_argument("--keep", action="store_true", help="leave the pages themselves too")
    given = parser.parse_args()
    for name in ("chromium", "pdftoppm"):
        if shutil.which(name) is None:
            sys.exit(f"{name} is not installed: apt-get install chromium poppler-utils")
    given.folder.mkdir(parents=True, exist_ok=True)
    for name, made in pages().items():
        if given.only in (None, name):
            _photograph(name, made(), given.folder, keep=given.keep)
    listed = given.folder / "README.md"
    listed.write_text(README + "".join(_rows(given.folder)), "utf-8")
    total = sum(path.stat().st_size for path in given.folder.glob("*.png"))
    print(f"{total / 1000:.0f} kB in all, of {MOST_BYTES / 1000:.0f}")
    return int(total > MOST_BYTES)


def _rows(folder: Path) -> Iterator[str]:
    """A line of the list for every page that has pictures."""
    for name in pages():
        sheets = sorted(folder.glob(f"{name}-print-*.png"))
        if sheets:
            files = [f"{name}-phone.png", f"{name}-desk.png"]
            links = [f"[{Path(file).stem}]({file})" for file in files]
            paper = " ".join(f"[{n}]({sheet.name})" for n, sheet in enumerate(sheets, start=1))
            yield f"| {name.replace('-', ' ')} | {' | '.join(links)} | {paper} |\n"


def _photograph(name: str, text: str, folder: Path, *, keep: bool) -> None:
    for old in folder.glob(f"{name}-*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as scratch:
        page = (folder if keep else Path(scratch)).resolve() / f"{name}.html"
        page.write_text(text, "utf-8")
        for kind, picture in pictures(page):
            target = folder / f"{name}-{kind}.png"
            target.write_bytes(small(picture))
            print(f"{target.name}  {target.stat().st_size / 1000:.0f} kB", flush=True)


if __name__ == "__main__":
    sys.exit(main())
