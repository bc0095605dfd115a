"""Many recordings at once: a folder or list in; results, an index page and a table out.

Finished work is never done again: results are named by the hash of the recording and of the
conditions it is judged under.  A crash, Ctrl-C or a kill at any moment costs at most the files in
hand, and one bad file stops no other.

    from spinlab.batch import run_batch

    tally = run_batch("uploads", "checked", machine="belt-brushed-1400")
"""

from __future__ import annotations

import importlib
from typing import Any

# Imported on first use: the children that do the work need none of it.
_HOMES = {
    "run_batch": "spinlab.batch.begin",
    "DEFAULT_LIMITS": "spinlab.batch.value",
    "Redo": "spinlab.batch.value",
    "Status": "spinlab.batch.value",
    "Tally": "spinlab.batch.value",
}
__all__ = ["DEFAULT_LIMITS", "Redo", "Status", "Tally", "run_batch"]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'spinlab.batch' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
