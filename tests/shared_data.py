"""Where the open measured recordings are, and a visible skip where they are not.

They are not part of the project (licences unstated or non-commercial): beside the project's root
under `../shared`, or where SPINLAB_SHARED points.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

SHARED = Path(os.environ.get("SPINLAB_SHARED", str(Path(__file__).resolve().parents[2] / "shared")))


def shared(relative: str) -> Path:
    """A file of the open data, or a skip that says what is missing."""
    path = SHARED / relative
    if not path.exists():
        pytest.skip(f"open data not found: {path}")
    return path
