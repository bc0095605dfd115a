"""A reference of known-good recordings of one model, and new units held against it."""

from spinlab.baseline.file import baseline_toml, load_baseline
from spinlab.baseline.hold import hold_against
from spinlab.baseline.make import make_baseline
from spinlab.baseline.value import Baseline, Held

__all__ = ["Baseline", "Held", "baseline_toml", "hold_against", "load_baseline", "make_baseline"]
