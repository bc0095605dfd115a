"""The unit under test: what its maker's papers or its type plate say about it.

A profile is a TOML file; `load_machine` turns it into the frozen value `Machine`, or says in one
sentence which key is wrong and what is allowed.
"""

from spinlab.machine.load import GENERIC_BELT_RATIO, load_machine, profile_text, shipped
from spinlab.machine.value import Bearing, Belt, Machine, Motor, Plateau

__all__ = [
    "GENERIC_BELT_RATIO",
    "Bearing",
    "Belt",
    "Machine",
    "Motor",
    "Plateau",
    "load_machine",
    "profile_text",
    "shipped",
]
