"""The one picture that proves a finding, computed here and drawn in the report."""

from spinlab.proofs.choose import proofs
from spinlab.proofs.value import Chart, Curve, Mark, Zone

__all__ = ["Chart", "Curve", "Mark", "Zone", "proofs"]
