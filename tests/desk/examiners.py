"""Stand-ins for the analysis, in a module that a child process loads in no time."""

import hashlib
import os
import time
from pathlib import Path

from spinlab.errors import UnreadableRecording

RESULTS = {
    "result.json": '{{"sha256": "{digest}"}}',
    "shared.json": '{{"sha256": "{digest}"}}',
    "page.html": "<!DOCTYPE html><title>report</title>",
    "shared.html": "<!DOCTYPE html><title>report</title>",
    "sound.mp4": "\0" * 1000,
    "shared.mp4": "\0" * 1000,
}


def unhurried_examine(*arguments):
    """As `quick_examine`, with pauses that leave time to be killed before and between files."""
    return quick_examine(*arguments, pause_s=0.05)


def quick_examine(original, name, profile, readings, folder, *, pause_s=0.0):
    """Stands in for the analysis: an invented verdict, told from the bytes alone."""
    content = Path(original).read_bytes()
    if content.startswith(b"broken"):
        raise UnreadableRecording("The file holds no sound or acceleration that can be read.")
    if content.startswith(b"slow"):
        time.sleep(30)
    if content.startswith(b"crash"):
        os._exit(3)
    if content.startswith(b"nonsense"):
        return {"verdict": {"state": "<script>", "sentence": "x"}}
    state = ("clear", "attention", "fault", "not measurable")[content[0] % 4]
    digest = hashlib.sha256(content).hexdigest()
    for each, text in RESULTS.items():
        time.sleep(pause_s)
        (Path(folder) / each).write_text(text.format(digest=digest), "utf-8")
    return {
        "verdict": {"state": state, "sentence": f"An invented verdict on {digest[:8]}."},
        "software": "0.0",
        "findings": [
            {"kind": "stage", "subject": "1400 rpm stage", "state": state, "probability": 0.5},
            {"kind": "belt", "subject": "belt slip", "state": "clear", "probability": None},
        ],
    }
