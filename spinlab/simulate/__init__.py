"""A machine, a room and a phone invented from physics, with the truth written down beside it.

Never imported by the analysis, and no constant is shared with it.
"""

from spinlab.simulate.parameters import Parameters, Step
from spinlab.simulate.sampling import random_parameters, random_programme
from spinlab.simulate.simulator import Simulated, simulate, spin_test
from spinlab.simulate.truth import StageTruth, Truth

__all__ = [
    "Parameters",
    "Simulated",
    "StageTruth",
    "Step",
    "Truth",
    "random_parameters",
    "random_programme",
    "simulate",
    "spin_test",
]
