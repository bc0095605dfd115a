"""The whole chain on simulated units whose drum is too quiet to be followed."""

import pytest

from tests.benchmarks.faults import Unit, measure


def outer(number):
    fault = "bearing: rear drum, outer"
    return Unit(fault=fault, number=number, part="tuning", felt=False, mode="whole", moderate=True)


@pytest.mark.parametrize("number", [18, 22])
def test_a_damaged_race_is_named_by_its_blows_where_no_speed_is_found(number):
    # the simulator's truth: an outer race of the rear drum bearing, severity 0.5, +5 dB
    result = measure(outer(number))
    assert result["scale"] == "relative"
    (bearing,) = (one for one in result["findings"] if one[0] == "bearing")
    assert "outer race" in bearing[1]
    assert bearing[2] == "fault"
    # the blows tell no plateau: they were put where the plateaus were asked for
    stages = [one for one in result["findings"] if one[0] == "stage"]
    assert {one[2] for one in stages} <= {"not measurable"}
