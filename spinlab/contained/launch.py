"""How a child process begins, with little around it, and how it is ended."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from dataclasses import asdict

from spinlab.contained.limits import THREAD_VARIABLES, Limits

# Variables that programs need to start; everything else, secrets included, stays with the parent.
_PASSED_ON: tuple[str, ...] = (
    "PATH",
    "HOME",
    "LANG",
    "LC_ALL",
    "LC_CTYPE",
    "TZ",
    "LD_LIBRARY_PATH",
)
_PASSED_ON += ("SYSTEMROOT", "WINDIR", "APPDATA", "LOCALAPPDATA", "USERPROFILE")
_BEGIN = (
    "import sys, json; path, limits, scratch = json.loads(sys.argv[1]); sys.path[:] = path; "
    "from spinlab.contained.child import serve; from spinlab.contained.limits import Limits; "
    "serve(Limits(**limits), scratch)"
)


def start(limits: Limits, scratch: str) -> subprocess.Popen[bytes]:
    """Start a child that works in the folder `scratch`."""
    environment = {name: os.environ[name] for name in _PASSED_ON if name in os.environ}
    environment |= dict.fromkeys(THREAD_VARIABLES, str(limits.threads))
    environment |= dict.fromkeys(("TMPDIR", "TEMP", "TMP"), scratch)
    path = [os.path.abspath(entry) for entry in sys.path]
    words = json.dumps([path, asdict(limits), scratch])
    return subprocess.Popen(
        [sys.executable, "-I", "-W", "ignore", "-c", _BEGIN, words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment,
        start_new_session=True,
    )


def roomy_folder() -> str | None:
    """Where temporary files of many megabytes may lie: as /tmp is often memory, not there."""
    if os.environ.get("TMPDIR") or not os.access("/var/tmp", os.W_OK):
        return None
    return "/var/tmp"


def kill(process: subprocess.Popen[bytes]) -> None:
    """End the child and whatever it started."""
    if process.poll() is not None:
        return
    try:
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        process.kill()
