"""One long recording of a whole service test, cut into labelled phases."""

from spinlab.phases.correct import Correction, corrected, parse_correction
from spinlab.phases.cut import cut_phases
from spinlab.phases.value import LABELS, MotionPattern, Phase, PhaseList

__all__ = [
    "LABELS",
    "Correction",
    "MotionPattern",
    "Phase",
    "PhaseList",
    "corrected",
    "cut_phases",
    "parse_correction",
]
