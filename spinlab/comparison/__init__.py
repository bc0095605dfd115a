"""Two or more recordings held against each other by speed: what changed, and how sure that is."""

from spinlab.comparison.compare import compare
from spinlab.comparison.value import Comparison

__all__ = ["Comparison", "compare"]
