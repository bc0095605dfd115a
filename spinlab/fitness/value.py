"""Fitness for one purpose, and one piece of advice, as frozen values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Fitness = Literal["fit", "limited", "not fit"]


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Whether a recording serves one purpose.

    Attributes:
        purpose: what would be measured.
        fitness: "fit", "limited" or "not fit".
        reason: what limits it, or what carries it.
    """

    purpose: str
    fitness: Fitness
    reason: str


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do otherwise next time, and the number that says so."""

    do: str
    because: str
