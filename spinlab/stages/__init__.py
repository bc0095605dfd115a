"""Stages: the speed track held against the expected programme."""

from spinlab.stages.table import stage_table
from spinlab.stages.value import Outcome, Retry, Stage, StageTable

__all__ = ["Outcome", "Retry", "Stage", "StageTable", "stage_table"]
