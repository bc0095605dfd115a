"""The drum's speed over time: see `tracker` for the order of the steps."""

from __future__ import annotations

from spinlab.speed.tracker import track_speed

__all__ = ["track_speed"]
