"""Rolling bearings: geometry, catalogue, and the search for their damage in a recording."""

from spinlab.bearings.detect import detect
from spinlab.bearings.evidence import BearingEvidence, Competitor, Hypothesis
from spinlab.bearings.geometry import FAULTS, BearingGeometry, Fault, MountedBearing

__all__ = [
    "FAULTS",
    "BearingEvidence",
    "BearingGeometry",
    "Competitor",
    "Fault",
    "Hypothesis",
    "MountedBearing",
    "detect",
]
