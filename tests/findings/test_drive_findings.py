"""Findings on belt and motor: states, words, rivals, and what is not measurable."""

from dataclasses import replace

import pytest

from spinlab.drive.arcing import Arcing, Swell
from spinlab.drive.belt_pass import BeltPass
from spinlab.drive.measure import Drive
from spinlab.drive.motor import MotorLine, MotorOrders
from spinlab.drive.ratio import DriveRatio, RatioPoint, SlipEvent
from spinlab.drive.squeal import Squeal
from spinlab.finding import Finding
from spinlab.findings import belt, motor
from spinlab.findings.arcing import chance_real
from spinlab.findings.reconcile import reconcile
from tests.findings.invented import MACHINE, e


def drive(*, slips=(), ratio=11.02, **extra):
    point = RatioPoint(time_s=9.0, speed_rpm=900.0, slope_rpm_per_s=0.0, ratio=e(ratio, 0.005))
    return Drive(
        ratio=DriveRatio(
            plateaus=(point,),
            ramps=(point,),
            ramp_pieces=1,
            ratio=e(ratio, 0.005),
            creep_percent=e(0.3, 0.1),
            slips=slips,
        ),
        expected_ratio=11.0,
        expected_tolerance_percent=1.0,
        belt_pass=BeltPass(reason="not in the profile"),
        **extra,
    )


def test_slip_is_stated_with_its_time_speed_and_interval():
    slip = SlipEvent(time_s=31.0, speed_rpm=1100.0, slope_rpm_per_s=90.0, slip_percent=e(4.0, 0.4))
    found = belt.findings(drive(slips=(slip,)))[0]
    assert found.state in ("attention", "fault")
    assert "4.0 +- 0.8 % at 31 s" in found.reason


def test_a_healthy_belt_is_clear_and_an_unknown_one_not_measurable():
    assert belt.findings(drive())[0].state == "clear"
    assert belt.findings(Drive(reason="nothing heard"))[0].state == "not measurable"
    assert belt.findings(Drive(direct=True)) == ()


def test_a_ratio_away_from_the_profile_names_the_profile_as_rival():
    found = next(f for f in belt.findings(drive(ratio=11.6)) if f.subject.startswith("wrong"))
    assert found.state == "attention"
    assert any("profile" in rival.cause for rival in found.rivals)


def orders(twice_db, once_db, four_db=None, odd_db=None):
    line = MotorLine(order=4, names=("x",), level_db=0.0, above_noise_db=20.0, p_value=1e-9)
    return drive(
        motor=MotorOrders(
            lines=(line,),
            twice_electrical_db=twice_db,
            once_electrical_db=once_db,
            four_times_electrical_db=four_db,
            three_over_four_db=odd_db,
            usual_heard=True,
        )
    )


@pytest.mark.parametrize(
    ("twice_db", "once_db", "speaking"),
    [(-15.0, -25.0, set()), (16.0, -20.0, {"lost phase"}), (5.0, 8.0, {"position sensor"})],
)
def test_the_electrical_orders_decide_between_phase_and_sensor(twice_db, once_db, speaking):
    found = motor.findings(orders(twice_db, once_db), MACHINE)
    assert {f.subject for f in found if f.state in ("attention", "fault")} == speaking


@pytest.mark.parametrize(("odd_db", "state"), [(-18.0, "attention"), (2.0, "clear")])
def test_four_times_the_frequency_says_lost_phase_where_its_odd_neighbour_is_missing(odd_db, state):
    found = motor.findings(orders(0.0, None, four_db=-3.0, odd_db=odd_db), MACHINE)[0]
    assert (found.subject, found.state) == ("lost phase", state)
    assert ("cancel" in str(found.reason)) == (state == "attention")


def test_a_motor_that_is_not_heard_is_not_called_sound():
    (found,) = motor.findings(drive(motor=MotorOrders(lines=())), MACHINE)
    assert found.state == "not measurable"


def arcing(p_value, *, motor_share=0.3, idle_p_value=0.5):
    swell = Swell(
        band_hz=(5000.0, 8000.0),
        index=e(0.06, 0.005),
        p_value=p_value,
        idle_p_value=idle_p_value,
        motor_share=motor_share,
    )
    measured = Arcing(swells=(swell,), tail=1.0)
    return motor.findings(drive(motor=MotorOrders(reason="-"), arcing=measured))[1]


def test_a_swell_at_twice_the_mains_speaks_of_arcing():
    found = arcing(1e-9)
    assert found.state == "attention"
    assert "5000 and 8000 Hz" in found.reason
    assert "plug pulled" in found.next_step
    assert arcing(0.2).state == "clear"


def test_a_faint_swell_is_neither_arcing_nor_its_absence():
    found = arcing(0.03)
    assert found.state == "not measurable"
    assert "3 %" in found.reason
    assert "WAV" in found.next_step
    assert arcing(0.005).state == "attention"


@pytest.mark.parametrize(
    ("p", "left"), [(0.05, 0.289), (0.01, 0.111), (0.005, 0.067), (0.001, 0.0184)]
)
def test_a_p_value_leaves_noise_the_share_of_the_published_table(p, left):
    # Sellke, Bayarri, Berger 2001, The American Statistician 55, table 1, values from memory
    assert 1.0 - chance_real(p) == pytest.approx(left, rel=0.01)


def test_a_swell_that_goes_on_with_the_motor_off_is_put_down_to_another_source():
    found = arcing(1e-9, idle_p_value=1e-9)
    assert found.state == "clear"
    assert "lamp" in found.rivals[0].cause


def test_arcing_of_a_motor_that_is_drowned_is_not_measurable_and_says_why():
    found = arcing(0.2, motor_share=0.04)
    assert found.state == "not measurable"
    assert "at most 4 %" in found.reason
    assert arcing(0.2, motor_share=None).state == "not measurable"


@pytest.mark.parametrize(("more_db", "state"), [(3.5, "attention"), (0.3, "not measurable")])
def test_a_cry_speaks_of_slip_where_the_motor_is_not_heard(more_db, state):
    silent = Drive(
        ratio=DriveRatio(reason="not heard"), squeal=Squeal(pitch_hz=640, more_db=more_db)
    )
    found = belt.findings(silent)[0]
    assert (found.subject, found.state) == ("belt slip", state)
    assert ("640 Hz" in str(found.reason)) == (state == "attention")
    assert bool(found.rivals) == (state == "attention")


def test_no_slip_is_not_said_of_ramps_in_which_the_motor_was_not_heard():
    known = drive().ratio
    deaf = replace(drive(), ratio=replace(known, ramp_pieces=20))
    assert belt.findings(drive())[0].state == "clear"
    assert belt.findings(deaf)[0].state == "not measurable"
    assert "1 of 20" in belt.findings(deaf)[0].reason
    level = replace(drive(), ratio=replace(known, ramps=(), ramp_pieces=0))
    assert belt.findings(level)[0].state == "not measurable"
    assert "no ramp" in belt.findings(level)[0].reason


def test_a_belt_that_is_not_heard_to_pass_is_not_called_sound():
    quiet = BeltPass(order=0.72, harmonics=80, heard=3, nepers=1.2, excess=0.5)
    found = belt.findings(replace(drive(), belt_pass=quiet))[-1]
    assert found.state == "not measurable"
    assert "drowned" in found.reason
    loud = replace(quiet, heard=40, nepers=4.0, excess=12.0)
    assert belt.findings(replace(drive(), belt_pass=loud))[-1].state in ("attention", "fault")


def test_a_belt_that_could_not_be_measured_points_to_the_stage_that_was_missed():
    missed = Finding(
        kind="stage",
        subject="1400 rpm stage never reached",
        state="fault",
        probability=0.86,
        evidence={"missed_rpm": [1400.0]},
    )
    silent = belt.findings(Drive(reason="no plateau"))[0]
    found = reconcile((missed, silent))[1]
    assert found.state == "not measurable"
    assert "1400 rpm stage never reached" in found.reason
    named = sum(cause.probability for cause in found.rivals)
    assert named + found.evidence["chance_from_missed_stage"] == pytest.approx(0.86, abs=0.01)
    assert reconcile((silent,)) == (silent,)


@pytest.mark.parametrize(("twice_db", "state"), [(4.0, "not measurable"), (12.0, "attention")])
def test_without_a_usual_order_only_a_plain_excess_over_the_noise_speaks(twice_db, state):
    silent = replace(orders(twice_db, None).motor, usual_heard=False)
    found = motor.findings(drive(motor=silent), MACHINE)[0]
    assert found.state == state
    if state == "attention":
        assert any("ripple is not heard" in cause.cause for cause in found.rivals)
