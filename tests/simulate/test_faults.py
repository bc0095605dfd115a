"""Faults by name."""

from dataclasses import replace

import pytest

from spinlab.errors import InputError
from spinlab.simulate import FAULT_NAMES, Parameters, fits, simulate, spin_test, with_fault
from spinlab.simulate.parameters import Drive, Phone
from tests.simulate.measures import rms

BRUSHED = Parameters()
THREE_PHASE = Parameters(drive=Drive(kind="three_phase", pole_pairs=2, commutator_bars=0))
DIRECT = Parameters(drive=Drive(kind="direct", ratio=1.0, pole_pairs=24, commutator_bars=0))


@pytest.mark.parametrize("name", FAULT_NAMES)
def test_a_fault_put_in_is_the_one_that_the_truth_lists(name):
    machine = BRUSHED if fits(BRUSHED, name) else THREE_PHASE
    assert with_fault(machine, name, 0.7).faults == {name: pytest.approx(0.7)}


@pytest.mark.parametrize("name", FAULT_NAMES)
def test_a_fault_of_no_severity_is_none(name):
    for machine in (BRUSHED, THREE_PHASE):
        if fits(machine, name):
            assert with_fault(machine, name, 0.0).faults == {}


def test_a_machine_has_no_fault_of_a_part_that_it_lacks():
    assert not fits(DIRECT, "belt: slip")
    assert not fits(BRUSHED, "motor: lost phase")
    assert not fits(THREE_PHASE, "motor: brush arcing")
    with pytest.raises(InputError, match="direct drive cannot have 'belt: slip'"):
        with_fault(DIRECT, "belt: slip", 0.5)


def test_a_slip_in_name_or_severity_is_said():
    with pytest.raises(InputError, match="no fault called"):
        with_fault(BRUSHED, "gremlins", 0.5)
    with pytest.raises(InputError, match="between 0 and 1"):
        with_fault(BRUSHED, "imbalance", 3.0)


@pytest.mark.parametrize("name", FAULT_NAMES)
def test_every_fault_changes_what_is_recorded(name):
    steps = spin_test((400.0, 800.0), hold_s=2.0, rise_rpm_per_s=200.0, coast_s=0.5)
    machine = BRUSHED if fits(BRUSHED, name) else THREE_PHASE
    machine = replace(machine, programme=steps, phone=Phone(rate_hz=8000))
    kind = "acceleration" if name == "suspension" else "sound"
    machine = replace(machine, kind=kind)
    if name == "looseness: feet":
        machine = with_fault(machine, "imbalance", 0.8)
    good, bad = (
        simulate(m, 1).recording.samples for m in (machine, with_fault(machine, name, 0.9))
    )
    count = min(good.shape[1], bad.shape[1])
    difference = rms(good[:, :count] - bad[:, :count])
    assert difference > 0.01 * rms(good[:, :count] - good.mean(axis=1, keepdims=True))
