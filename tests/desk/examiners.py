"""Stand-ins for the analysis, in a module that a child process loads in no time."""

import hashlib
import os
import time
from pathlib import Path

from spinlab.errors import UnreadableRecording


def quick_examine(original, name, profile, readings, folder):
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
    for each in ("result.json", "shared.json"):
        (Path(folder) / each).write_text(f'{{"sha256": "{digest}"}}', "utf-8")
    for each in ("page.html", "shared.html"):
        (Path(folder) / each).write_text("<!DOCTYPE html><title>report</title>", "utf-8")
    for each in ("sound.mp4", "shared.mp4"):
        (Path(folder) / each).write_bytes(b"\x00" * 1000)
    return {
        "verdict": {"state": state, "sentence": f"An invented verdict on {digest[:8]}."},
        "software": "0.0",
        "findings": [
            {"kind": "stage", "subject": "1400 rpm stage", "state": state, "probability": 0.5},
            {"kind": "belt", "subject": "belt slip", "state": "clear", "probability": None},
        ],
    }
