"""Rolling bearings: geometry, catalogue, and the search for their damage in a recording."""

from spinlab.bearings.detection import detect
from spinlab.bearings.evidence import BearingEvidence, Competitor, Hypothesis
from spinlab.bearings.geometry import FAULTS, BearingGeometry, Fault, MountedBearing
from spinlab.bearings.mounted import Mounted, mounted

__all__ = [
    "FAULTS",
    "BearingEvidence",
    "BearingGeometry",
    "Competitor",
    "Fault",
    "Hypothesis",
    "Mounted",
    "MountedBearing",
    "detect",
    "mounted",
]
