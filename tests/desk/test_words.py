"""The desk speaks as the report does, and its server loads none of the analysis."""

import subprocess
import sys

from spinlab.desk.web.render import STATE_WORDS

HEAVY = ("scipy", "numpy", "matplotlib", "av", "spinlab.analysis", "spinlab.report")


def test_states_are_called_what_the_report_calls_them():
    from spinlab.report import words

    assert STATE_WORDS == words.STATE_WORDS


def test_the_server_starts_without_loading_the_analysis():
    script = (
        "import sys, spinlab.desk.web.app, spinlab.desk.worker;"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
