"""The desk speaks as the report does, and its server loads none of the analysis."""

import re
import subprocess
import sys

from spinlab.desk.web.render import STATE_WORDS
from spinlab.report.shell import style_of, text_of

HEAVY = ("scipy", "numpy", "matplotlib", "av", "spinlab.analysis", "spinlab.report")


def test_states_are_called_what_the_report_calls_them():
    from spinlab.report import words

    assert STATE_WORDS == words.STATE_WORDS


def test_colours_are_those_of_the_report(embedded):
    page = embedded.stranger().get("/sign-in").text
    address = re.search(r'href="(/static/[^"]*palette.css)"', page)[1]
    colours = embedded.stranger().get(address).text
    assert colours == text_of("palette.css")
    assert colours in style_of("page.css")
    used = set(re.findall(r"var\((--[a-z-]+)\)", embedded.stranger().get("/static/desk.css").text))
    # Of its own the desk has only what stands for a state: the tone and its wash.
    assert used - set(re.findall(r"(--[a-z-]+):", colours)) == {"--tone", "--wash"}


def test_the_server_starts_without_loading_the_analysis():
    script = (
        "import sys, spinlab.desk.web.app, spinlab.desk.worker;"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
