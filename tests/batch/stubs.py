"""Stand-ins for the analysis: an invented result, or a disaster, as the file's own text asks.

A file holds JSON like {"state": "fault", "probability": 0.9}; nothing in it was measured.
They run in the children of a batch exactly where the real analysis would.
"""

import hashlib
import json
import os
import time
from pathlib import Path

from spinlab.errors import OutputError, UnreadableRecording


def invented(path, profile, page):
    """An invented result, made as the file asks."""
    content = Path(path).read_bytes()
    wishes = json.loads(content)
    _log(wishes, "begun", path)
    time.sleep(wishes.get("sleep", 0))
    _wait_for_others(wishes)
    _disaster(wishes)
    result = invented_result(
        Path(path).name,
        hashlib.sha256(content).hexdigest(),
        state=wishes.get("state", "clear"),
        probability=wishes.get("probability"),
        machine=Path(profile).stem if profile else None,
        padding=wishes.get("padding", 0),
    )
    _log(wishes, "made", path)
    return json.dumps(result), f"<p>{Path(path).name}</p>" if page else None


def invented_result(name, sha256, *, state, probability, machine=None, padding=0):
    """As much of a result of format "spinlab.result" as an index needs, with invented numbers."""
    grave = state in ("fault", "attention")
    finding = {"subject": "an invented part", "state": state, "probability": probability}
    return {
        "format": "spinlab.result",
        "version": 1,
        "software": {"name": "spinlab", "version": "0.0.0"},
        "recording": {"file": name, "sha256": sha256, "kind": "sound", "duration_s": 1.0},
        "machine": {"name": machine} if machine else None,
        "stages": [
            {"expected_rpm": 400.0, "outcome": "reached"},
            {"expected_rpm": 800.0, "outcome": "missed" if grave else "reached"},
        ],
        "top_speed_rpm": 801.25,
        "top_speed_standard_uncertainty_rpm": 0.5,
        "findings": [finding] if grave else [],
        "verdict": {"state": state, "sentence": f"An invented verdict: {state}."},
        "padding": "x" * padding,
    }


def calls(log):
    """How often each file was begun and how often it was made: {"begun": {...}, "made": {...}}."""
    counts = {"begun": {}, "made": {}}
    for line in Path(log).read_text().splitlines() if Path(log).exists() else ():
        what, path = line.split(" ", 1)
        counts[what][path] = counts[what].get(path, 0) + 1
    return counts


def _disaster(wishes):
    if wishes.get("do") == "unreadable":
        raise UnreadableRecording("It is empty: copy it again from the phone.")
    if wishes.get("do") == "defect":
        raise RuntimeError("an invented defect")
    if wishes.get("do") == "full":
        raise OutputError("There is no room left.")
    if wishes.get("do") == "die":
        os.kill(os.getpid(), wishes["signal"])
    if "once" in wishes:
        _die_once(wishes)
    if wishes.get("do") == "grow":
        bytearray(10**10)


def _wait_for_others(wishes):
    """Go on only when so many files have been begun."""
    until = time.monotonic() + 100
    while "others" in wishes and Path(wishes["log"]).read_text().count("begun") < wishes["others"]:
        if time.monotonic() > until:
            raise RuntimeError("the others have not come")
        time.sleep(0.01)


def _die_once(wishes):
    mark = Path(wishes["once"])
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), 9)


def _log(wishes, what, path):
    if "log" in wishes:
        # One write each to a file opened for appending: lines of many processes do not mix.
        with open(wishes["log"], "a") as file:
            file.write(f"{what} {path}\n")
