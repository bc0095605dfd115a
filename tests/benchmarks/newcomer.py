"""How long a newcomer waits for the first page: `python -m tests.benchmarks.newcomer`.

Clones this project into a temporary folder, runs the README's first line there step by step with a
virtual environment of its own, and prints what each step took.  Nothing that is installed or cached
here helps, unless `--with-cache` lets pip use what it has downloaded before.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PROJECT = Path(__file__).parents[2]


def first_line() -> list[str]:
    """The README's first shell line, step by step."""
    text = (PROJECT / "README.md").read_text("utf-8")
    found = re.search(r"```sh\n(.*?)\n```", text, re.S)
    if found is None:
        sys.exit("The README has no shell line.")
    return found.group(1).split(" && ")


def timed(name: str, command: str, folder: Path, environment: dict[str, str]) -> float:
    """Run one step in bash, say how long it took, and give the seconds."""
    begun = time.monotonic()
    done = subprocess.run(
        ["bash", "-c", command], cwd=folder, env=environment, capture_output=True, text=True
    )
    took = time.monotonic() - begun
    print(f"{took:7.1f} s  {name}", flush=True)
    # 10 to 12 are verdicts of a check, not failures.
    if done.returncode not in (0, 10, 11, 12):
        sys.exit(f"failed with {done.returncode}: {done.stderr[-2000:]}")
    return took


def main() -> None:
    """Print each step's time and the sum."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--with-cache", action="store_true", help="let pip use its cache")
    cached = parser.parse_args().with_cache
    kept = ("PATH", "HOME", "LANG", "PIP_INDEX_URL", "SSL_CERT_FILE", "HTTPS_PROXY", "https_proxy")
    environment = {name: os.environ[name] for name in kept if name in os.environ}
    environment |= {} if cached else {"PIP_NO_CACHE_DIR": "1"}
    with tempfile.TemporaryDirectory(prefix="newcomer-") as scratch:
        clone = Path(scratch) / "spinlab"
        source = shlex.quote(str(PROJECT))
        total = timed("git clone", f"git clone -q {source} spinlab", Path(scratch), environment)
        before = ""
        for step in first_line():
            total += timed(step, before + step, clone, environment)
            # Each step is a shell of its own, so what a step sets up is set up again.
            before += f"{step} && " if step.startswith(". ") else ""
        page = clone / "report.html"
        print(f"{total:7.1f} s  in all, to a page of {page.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
