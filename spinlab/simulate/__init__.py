"""A machine, a room and a phone invented from physics, with the truth written down beside it.

    made = simulate(load_scenario("worn-rear-bearing"), 7)
    made.recording, made.truth

Never imported by the analysis, and no constant is shared with it.
"""

from spinlab.simulate.faults import FAULT_NAMES, fits, with_fault
from spinlab.simulate.parameters import Parameters, Step
from spinlab.simulate.sampling import random_parameters, random_programme
from spinlab.simulate.scenario import load_scenario, parse_scenario, scenario_names
from spinlab.simulate.simulator import Simulated, simulate, spin_test
from spinlab.simulate.truth import StageTruth, Truth
from spinlab.simulate.writing import write_simulated

__all__ = [
    "FAULT_NAMES",
    "Parameters",
    "Simulated",
    "StageTruth",
    "Step",
    "Truth",
    "fits",
    "load_scenario",
    "parse_scenario",
    "random_parameters",
    "random_programme",
    "scenario_names",
    "simulate",
    "spin_test",
    "with_fault",
    "write_simulated",
]
