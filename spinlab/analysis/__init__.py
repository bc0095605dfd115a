"""The analysis of one recording: `analyse` and what it returns."""

from spinlab.analysis.order import analyse
from spinlab.analysis.value import Analysis, Failure
from spinlab.analysis.work import DefectWarning

__all__ = ["Analysis", "DefectWarning", "Failure", "analyse"]
