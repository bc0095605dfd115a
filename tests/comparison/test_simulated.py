"""Comparisons of simulated machines whose change is known by its severity.

The simulator makes a race's blows in proportion to its severity.  The squared envelope's line then
falls with its square: 40 lg of the severities' ratio, in dB of modulation depth, as long as the
blows do not fill the envelope themselves; less where they do.
"""

import numpy as np
import pytest

from spinlab.comparison import compare
from spinlab.simulate import with_fault
from tests.comparison.simulated import machine, two_takes

OUTER = "bearing: rear drum, outer"


def race_lines(comparison, parameters):
    """Envelope lines at the first two multiples of the race's true order."""
    fault = parameters.bearings[0]
    k = fault.ball_diameter_mm / fault.pitch_diameter_mm
    order = 0.5 * fault.balls * (1.0 - k * np.cos(np.radians(fault.contact_angle_deg)))
    order *= 1.0 - 0.01 * fault.slip_percent
    return [
        line
        for line in comparison.pairs[0].lines
        if line.measure == "envelope"
        and any(abs(line.order - m * order) < 0.06 * m for m in (1, 2))
    ]


def test_a_replaced_bearing_is_stated_and_its_line_is_down():
    healthy = machine(1)
    worn = with_fault(healthy, OUTER, 1.0)
    got = compare(two_takes(worn, healthy, 1))
    assert got.state == "attention"
    stated = [line for line in race_lines(got, worn) if line.claimed]
    assert stated
    assert all(line.high_db < 0 for line in stated)
    assert all(s.direction == -1 for s in got.pairs[0].statements)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_the_interval_of_a_lessened_fault_allows_for_its_known_change(seed):
    healthy = machine(seed)
    worse, better = (with_fault(healthy, OUTER, severity) for severity in (0.8, 0.4))
    bound_db = 40 * np.log10(0.4 / 0.8)
    lines = race_lines(compare(two_takes(worse, better, seed)), worse)
    assert lines
    for line in lines:
        assert line.low_db is None or line.low_db <= 0.0, "no line grew"
        assert line.high_db is None or line.high_db >= bound_db, "none fell by more than it can"


@pytest.mark.slow
@pytest.mark.parametrize("drive", ["brushed", "three_phase", "direct"])
@pytest.mark.parametrize("fault", [None, OUTER])
def test_one_machine_heard_twice_is_not_called_changed(drive, fault):
    same = machine(7, drive=drive)
    same = with_fault(same, fault, 0.6) if fault else same
    got = compare(two_takes(same, same, 7))
    assert got.state == "clear", got.sentence
    assert len(got.pairs[0].lines) > 200
