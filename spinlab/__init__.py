"""spinlab: evidence from one phone recording of a washing machine's spin test."""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "read": "spinlab.reading",
    "Recording": "spinlab.recording",
    "load_machine": "spinlab.machine",
    "Machine": "spinlab.machine",
    "track_speed": "spinlab.speed",
    "SpeedTrack": "spinlab.speed.track",
    "analyse": "spinlab.analysis",
    "Analysis": "spinlab.analysis",
    "compare": "spinlab.comparison",
    "Comparison": "spinlab.comparison",
    "make_baseline": "spinlab.baseline",
    "load_baseline": "spinlab.baseline",
    "hold_against": "spinlab.baseline",
    "Baseline": "spinlab.baseline",
    "make_lesson": "spinlab.lesson",
}
__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    """Import a public name from its room on first use, so that `import spinlab` stays light."""
    if name not in _HOMES:
        raise AttributeError(f"module 'spinlab' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
