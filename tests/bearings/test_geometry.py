"""Orders from geometry, against published tables and worked examples."""

import csv

import pytest

from spinlab.bearings import BearingGeometry, MountedBearing
from spinlab.errors import InputError
from spinlab.speed.track import Estimate
from tests.shared_data import shared


def geometry(balls, ball, pitch, angle=0.0, **more):
    return BearingGeometry(
        designation="test",
        balls=balls,
        ball_diameter_mm=ball,
        pitch_diameter_mm=pitch,
        contact_angle_deg=angle,
        **more,
    )


def published():
    with open(shared("references/bearing_orders.csv"), encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if row["balls"]]


def test_orders_agree_with_the_published_table():
    # each row names its source; the MFPT row's FTF contradicts its own BPFO and is left out
    for row in published():
        made = geometry(
            int(row["balls"]), float(row["ball_diameter_mm"]), float(row["pitch_diameter_mm"])
        )
        within = {"abs": float(row["tolerance"])}
        assert made.outer_race_order == pytest.approx(float(row["bpfo"]), **within)
        assert made.inner_race_order == pytest.approx(float(row["bpfi"]), **within)
        if row["ftf"] and not row["designation"].startswith("MFPT"):
            assert made.cage_order == pytest.approx(float(row["ftf"]), **within)
        if row["bsf"]:
            assert made.ball_spin_order == pytest.approx(float(row["bsf"]), abs=3e-3)
        if row["two_bsf"]:
            assert made.ball_hit_order == pytest.approx(float(row["two_bsf"]), abs=1e-3)


def test_a_worked_example_in_hertz():
    # a published calculator's worked example: 6205, 9 balls, 7.94 on 38.5 mm at 1500 rpm
    made = geometry(9, 7.94, 38.5)
    assert made.cage_order * 25 == pytest.approx(9.92, abs=0.02)
    assert made.outer_race_order * 25 == pytest.approx(89.31, abs=0.02)
    assert made.inner_race_order * 25 == pytest.approx(135.69, abs=0.02)


@pytest.mark.parametrize(
    ("balls", "ball", "pitch", "ftf", "bsf", "bpfo", "bpfi", "ftf_inner_fixed"),
    # a bearing maker's catalogue, page A-13, table A-9 "frequency coefficients", basic outer-ring
    # sizes 203K, 204K, 206K, 304K, 308K, 309K (catalog.timken.com/guide/ball-bearing-housed-unit);
    # geometry: pitch circle midway between ISO 15 bore and outside diameter, inch balls
    [
        (8, 6.747, 28.5, 0.382, 1.994, 3.053, 4.947, 0.618),
        (8, 7.938, 33.5, 0.382, 1.992, 3.052, 4.948, 0.618),
        (9, 9.525, 46.0, 0.396, 2.311, 3.568, 5.432, 0.604),
        (7, 9.525, 36.0, 0.368, 1.757, 2.574, 4.426, 0.632),
        (8, 15.875, 65.0, 0.378, 1.925, 3.023, 4.977, 0.622),
        (8, 17.462, 72.5, 0.380, 1.955, 3.037, 4.963, 0.620),
    ],
)
def test_orders_agree_with_a_makers_table_for_either_fixed_ring(
    balls, ball, pitch, ftf, bsf, bpfo, bpfi, ftf_inner_fixed
):
    made = geometry(balls, ball, pitch)
    turned = geometry(balls, ball, pitch, fixed_ring="inner")
    assert made.cage_order == pytest.approx(ftf, abs=6e-4)
    assert turned.cage_order == pytest.approx(ftf_inner_fixed, abs=6e-4)
    assert made.outer_race_order == turned.outer_race_order == pytest.approx(bpfo, abs=1.5e-3)
    assert made.inner_race_order == turned.inner_race_order == pytest.approx(bpfi, abs=1.5e-3)
    # the table's "BSF" is a ball's own turning; a damaged ball hits twice as often
    assert made.ball_spin_order == pytest.approx(bsf, abs=4e-3)
    assert made.ball_hit_order == 2 * made.ball_spin_order


def test_the_race_orders_add_up_to_the_balls_and_the_cage_carries_them():
    made = geometry(9, 7.94, 39.04, 15.0)
    assert made.outer_race_order + made.inner_race_order == pytest.approx(9.0, rel=1e-12)
    assert made.cage_order * 9 == pytest.approx(made.outer_race_order, rel=1e-12)


def test_a_contact_angle_acts_like_a_smaller_ball():
    # k = (d/D) cos a: at 60 degrees half
    assert geometry(9, 8.0, 40.0, 60.0).outer_race_order == pytest.approx(
        geometry(9, 4.0, 40.0).outer_race_order, rel=1e-9
    )


def test_the_tolerance_of_each_order_follows_from_one_error_of_the_geometry():
    made = geometry(9, 8.0, 40.0, tolerance=0.004)
    other = geometry(9, 8.0 * (1 - 0.004 * 0.8 / 0.2), 40.0)
    for fault in ("outer race", "inner race", "ball", "cage"):
        moved = abs(other.order(fault) / made.order(fault) - 1)
        assert made.order_tolerance(fault) == pytest.approx(moved, rel=0.03)


def test_the_search_range_holds_slip_geometry_ratio_and_speed():
    exact = MountedBearing(name="x", geometry=geometry(9, 8.0, 40.0, tolerance=0.0))
    low, high = exact.search_range("outer race")
    assert (low / 3.6, high / 3.6) == pytest.approx((0.98, 1.01))
    motor = MountedBearing(
        name="x",
        geometry=geometry(9, 8.0, 40.0, tolerance=0.003),
        shaft_order=Estimate(value=10.0, standard_uncertainty=0.02),
    )
    low, high = motor.search_range("outer race", 0.0)
    assert (low / 36.0, high / 36.0) == pytest.approx((0.975, 1.015), abs=1e-9)
    assert motor.sideband_order("inner race") == 10.0
    assert motor.sideband_order("ball") == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((2, 8.0, 40.0), "balls must be at least 3"),
        ((9, 40.0, 8.0), "must lie between 0 and"),
        ((9, 8.0, 40.0, 95.0), "contact_angle_deg must lie between"),
        ((30, 8.0, 40.0), "do not fit on a circle"),
    ],
)
def test_impossible_geometry_is_refused_in_one_sentence(values, message):
    with pytest.raises(InputError, match=message):
        geometry(*values)


def test_a_shaft_that_does_not_turn_is_refused():
    with pytest.raises(InputError, match="shaft's order must be a positive number"):
        MountedBearing(
            name="x",
            geometry=geometry(9, 8.0, 40.0),
            shaft_order=Estimate(value=float("nan"), standard_uncertainty=0.0),
        )
