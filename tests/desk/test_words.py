"""The desk speaks as the report does, and its server loads none of the analysis."""

import subprocess
import sys
from importlib import resources

from spinlab.desk.web.render import STATE_WORDS

HEAVY = ("scipy", "numpy", "matplotlib", "av", "spinlab.analysis", "spinlab.report")


def test_states_are_called_what_the_report_calls_them():
    from spinlab.report import words

    assert STATE_WORDS == words.STATE_WORDS


def test_colours_are_those_of_the_report():
    def palette(package, name):
        style = (resources.files(package) / name).read_text("utf-8")
        return style[: style.index("* { box-sizing")].split()

    ours = palette("spinlab.desk.web", "static/desk.css")
    assert ours == palette("spinlab.report", "templates/page.css")
    assert len(ours) > 50


def test_the_server_starts_without_loading_the_analysis():
    script = (
        "import sys, spinlab.desk.web.app, spinlab.desk.worker;"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
