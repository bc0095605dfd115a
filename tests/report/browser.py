"""A page opened in Debian's Chromium, measured from inside, without any network."""

import html
import json
import re
import shutil
import subprocess

import pytest

CHROMIUM = shutil.which("chromium")
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="Debian's chromium is not installed: apt-get install chromium"
)
_FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run")
_WAIT = "--virtual-time-budget=4000"


def measure(page, script, folder, *, width=390, height=844, flags=()):
    """The JSON value of `script`, an expression, evaluated inside a page of that size.

    The page is shown in a frame, since a window of Chromium is never narrower than 500 pixels,
    and without its policy, so that our probe may run beside its own script.
    """
    policy = re.search(r'<meta http-equiv="Content-Security-Policy"[^>]*>', page).group(0)
    probe = (
        '<script>addEventListener("load", async () => {'
        f"const value = JSON.stringify(await ({script}));"
        'parent.document.getElementById("probe").textContent = value;});</script>'
    )
    probed = page.replace(policy, "").replace("</body>", probe + "</body>")
    outer = (
        '<!DOCTYPE html><pre id="probe" hidden></pre><iframe style="border: 0" '
        f'width="{width}" height="{height}" srcdoc="{html.escape(probed)}"></iframe>'
    )
    seen = dom(outer, folder, f"--window-size={width + 600},{height + 100}", *flags)
    found = re.search(r'<pre id="probe"[^>]*>(.+?)</pre>', seen, re.S)
    assert found, "the probe said nothing"
    return json.loads(html.unescape(found.group(1)))


def dom(page, folder, *flags):
    """The page's document after its scripts have run."""
    return _run(page, folder, "--dump-dom", _WAIT, *flags).stdout


def console(page, folder):
    """Everything that the unchanged page writes to the browser's console."""
    log = _run(page, folder, "--enable-logging=stderr", "--v=0", "--dump-dom", _WAIT).stderr
    return [line for line in log.splitlines() if "CONSOLE" in line]


def print_to_pdf(page, folder):
    """(width, height) in points of every sheet that the page prints to."""
    target = folder / "print.pdf"
    _run(page, folder, "--no-pdf-header-footer", f"--print-to-pdf={target}")
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]", target.read_bytes())
    return [(float(width), float(height)) for width, height in boxes]


def _run(page, folder, *arguments):
    copy = folder / "page.html"
    copy.write_text(page, "utf-8")
    command = [CHROMIUM, *_FLAGS, f"--user-data-dir={folder / 'profile'}", *arguments]
    return subprocess.run(
        [*command, copy.as_uri()], capture_output=True, text=True, timeout=120, check=True
    )
