"""Findings on shaking, belt, motor and supply: states, words and rivals."""

import numpy as np
import pytest

from spinlab.findings import (
    imbalance,
    looseness,
    oscillation,
    programme,
    supply,
    suspension,
)
from spinlab.findings.direction import direction_findings
from spinlab.findings.judge import chance_above, shared
from spinlab.meter import parse_reading
from spinlab.phases import MotionPattern, Phase, PhaseList
from spinlab.phases.value import PumpSound
from spinlab.stages import Retry, StageTable
from spinlab.vibration.beats import Beat
from spinlab.vibration.decay import Decay
from spinlab.vibration.measure import PlateauBeat, Vibration
from spinlab.vibration.pattern import OrderLevel, OrderPattern
from spinlab.vibration.plateaus import PlateauLevel, Span
from spinlab.vibration.units import level
from tests.findings.invented import MACHINE, e


def test_chance_above_a_limit_is_the_normal_tail():
    # tables of the normal law: 1.96 deviations leave 2.5 %
    assert chance_above(0.0, 1.0, 1.96) == pytest.approx(0.025, abs=1e-4)
    assert chance_above(5.0, 1.0, 5.0) == pytest.approx(0.5)


def test_shared_probabilities_add_up_to_that_of_the_sign():
    own, rivals = shared(0.8, {"a": 0.5, "b": 0.5})
    assert own == pytest.approx(0.4)
    assert own + sum(r.probability for r in rivals) == pytest.approx(0.8)


def log_with(velocity_mm_s):
    def one(speed):
        w = 2 * np.pi * speed / 60
        a = velocity_mm_s * 1e-3 * np.sqrt(2) * w
        return PlateauLevel(
            order=1.0,
            span=Span(start_s=0.0, end_s=9.0, speed_rpm=speed),
            total=level(a, 0.02 * a, speed / 60, 0.01),
        )

    return Vibration(kind="acceleration", levels=tuple(one(n) for n in (800.0, 1000.0, 1200.0)))


@pytest.mark.parametrize(("velocity", "state"), [(3.0, "clear"), (40.0, "attention")])
def test_imbalance_from_a_log_is_judged_by_its_velocity(velocity, state):
    (found,) = imbalance.findings(log_with(velocity))
    assert found.state == state
    assert "mm/s RMS" in found.reason
    assert found.evidence["velocity_mm_s_rms"] == pytest.approx(velocity, rel=1e-3)
    assert "not a household appliance" in found.evidence["iso_10816_scope"]


def test_an_unbalanced_drum_is_told_what_to_check():
    (found,) = imbalance.findings(log_with(60.0))
    for word in ("transport bolts", "ballast", "dampers", "springs", "spider", "feet", "drained"):
        assert word in found.next_step
    assert found.rivals


def test_sound_never_gives_millimetres_or_grams():
    (found,) = imbalance.findings(Vibration(kind="sound"))
    assert found.state == "not measurable"
    assert found.probability is None
    assert not any("mm_s" in key or "g_mm" in key for key in found.evidence)


@pytest.mark.parametrize(("ratio", "state"), [(0.02, "fault"), (0.15, "clear")])
def test_damping_decides_on_the_damper(ratio, state):
    decay = Decay(start_s=3.0, frequency_hz=e(3.2), damping_ratio=e(ratio, 0.1 * ratio), cycles=8)
    (found,) = suspension.findings(Vibration(kind="acceleration", decays=(decay,)))
    assert found.state == state
    assert "3.2 Hz" in found.reason


def suspension_of(ratio, u):
    decay = Decay(start_s=1.0, frequency_hz=e(3.0), damping_ratio=e(ratio, u), cycles=6)
    (found,) = suspension.findings(Vibration(kind="acceleration", decays=(decay,)))
    return found


def test_a_damping_ratio_that_is_hardly_known_accuses_no_damper():
    # Bayes' rule by hand, worn and sound alike before: 0.08 known to 90 % fits both about equally
    assert suspension_of(0.08, 0.07).state == "clear"
    assert suspension_of(0.10, 0.025).state == "clear"


def test_a_damping_ratio_well_below_the_limit_is_a_worn_damper():
    assert suspension_of(0.03, 0.003).state in ("attention", "fault")
    assert suspension_of(0.01, 0.001).state in ("attention", "fault")


def pump_of(together, *, tone=3.0, noise=3.2, above=25.0, pieces=4, label="pump"):
    sound = PumpSound(
        start_s=tuple(10.0 + 4.0 * k for k in range(pieces)),
        tone_swing_db=tuple(np.broadcast_to(tone, pieces).tolist()),
        noise_swing_db=tuple(np.broadcast_to(noise, pieces).tolist()),
        together=tuple(np.broadcast_to(together, pieces).tolist()),
        above_quiet_db=above,
    )
    end = 12.0 + 4.0 * pieces
    phase = Phase(label=label, start_s=9.0, end_s=end, confidence=0.8, pump=sound)
    found = programme.findings(PhaseList(phases=(phase,)))
    return found[0] if found else None


def test_a_tone_that_swings_with_its_noise_is_a_pump_in_water():
    found = pump_of(0.8)
    assert found.state == "clear"
    assert "pumping water" in found.reason


def test_air_at_the_end_of_a_drain_is_no_fault_but_a_pump_that_only_draws_air_is_looked_at():
    ends = pump_of([0.8, 0.7, -0.5, -0.4])
    assert ends.state == "clear"
    assert "drawing air" in ends.reason
    assert "18 s" in ends.reason
    assert pump_of(-0.5, pieces=9).state == "attention"


def test_a_pump_in_between_or_one_that_hardly_stands_out_is_not_told():
    assert pump_of(0.1).state == "not measurable"
    assert pump_of(-0.5, tone=1.5).state == "not measurable"
    assert pump_of(-0.5, above=5.0).state == "not measurable"
    assert pump_of(0.8, label="fill") is None


def test_a_swing_before_the_water_is_not_called_air():
    found = pump_of([-0.5, 0.8, 0.8, 0.7])
    assert "drawing air" not in found.reason


def test_times_and_speeds_of_both_directions_stand_in_the_sentence_with_their_intervals():
    motion = MotionPattern(
        on_s=e(8.0),
        first_on_s=e(8.5, 0.1),
        second_on_s=e(7.5, 0.1),
        first_off_s=e(5.0, 0.1),
        second_off_s=e(6.0, 0.1),
        second_over_first_speed=e(0.9, 0.01),
        directions="both",
    )
    (found,) = direction_findings(motion)
    assert "8.5 +- 0.2 s" in found.reason
    assert "5.0 +- 0.2 s" in found.reason
    assert "0.900 +- 0.020 times as fast" in found.reason
    assert found.evidence["even_over_odd_speed"] == 0.9


def test_the_suspension_cannot_be_heard():
    (found,) = suspension.findings(Vibration(kind="sound"))
    assert found.state == "not measurable"
    assert "2-6 Hz" in found.reason


def test_half_orders_speak_for_a_loose_part():
    loose = OrderPattern(
        levels=tuple(
            OrderLevel(order=o, level=v, standard_uncertainty=0.01, p_value=1e-9)
            for o, v in ((1.0, 1.0), (0.5, 0.3), (1.5, 0.2))
        ),
        half_order_share=0.36,
        many_order_share=0.1,
    )
    (found,) = looseness.findings(Vibration(kind="acceleration", pattern=loose))
    assert found.state == "attention"
    assert "0.5, 1.5" in found.reason


def test_a_microphone_that_hears_no_half_order_does_not_clear_a_loose_part():
    # None of eight simulated machines with a loose counterweight or foot sounds at one
    # (docs/accuracy, every severity).
    sound = OrderPattern(
        levels=(OrderLevel(order=1.0, level=1.0, standard_uncertainty=0.01, p_value=1e-9),),
        half_order_share=0.0,
        many_order_share=0.1,
    )
    heard, felt = (
        looseness.findings(Vibration(kind=kind, pattern=sound))[0]
        for kind in ("sound", "acceleration")
    )
    assert heard.state == "not measurable"
    assert "accelerometer log" in heard.next_step
    assert felt.state == "clear"


def beats(speed_percent, amplitude_percent, *, same_rate):
    def line(depth, rate):
        return Beat(rate_hz=e(rate, 0.002), depth_percent=e(depth, 0.05 * depth), p_value=1e-9)

    one = PlateauBeat(
        span=Span(start_s=0.0, end_s=30.0, speed_rpm=1000.0),
        speed=line(speed_percent, 0.4),
        amplitude=line(amplitude_percent, 0.4 if same_rate else 0.7),
    )
    return Vibration(kind="acceleration", beats=(one,))


def test_an_amplitude_that_follows_a_hunting_speed_is_put_down_to_it():
    hunting, beating = oscillation.findings(beats(3.0, 60.0, same_rate=True))
    assert hunting.state == "attention"
    assert beating.rivals[0].cause.startswith("hunting of the speed")
    _, alone = oscillation.findings(beats(3.0, 60.0, same_rate=False))
    assert not alone.rivals[0].cause.startswith("hunting")


def test_retries_are_counted_with_their_speeds():
    stages = StageTable(retries=(Retry(time_s=20.0, speed_rpm=380.0),))
    found = oscillation.findings(Vibration(kind="sound"), stages)[-1]
    assert found.evidence["retries"] == 1
    assert "380 rpm" in found.reason


def said(*lines):
    return supply.findings([parse_reading(line) for line in lines], MACHINE)


def test_a_heater_of_its_rating_is_clear_and_an_open_one_is_not():
    assert said("heat 236V 8.9A")[-1].state == "clear"
    opened = next(f for f in said("heat 236V 0A") if f.subject.startswith("heating"))
    assert opened.state == "attention"
    assert "open" in opened.reason
    shorted = next(f for f in said("heater 9 ohm") if f.subject.startswith("heating"))
    assert shorted.state == "fault"


def test_readings_that_cannot_be_are_named():
    found = said("1200rpm 230V 1.0A 300W")
    assert found[0].subject.startswith("reading that cannot be")


def test_high_drag_power_is_worth_attention_and_the_usual_is_clear():
    # about 300 W at 1200 and 330 W at 1400 rpm: common practice, no published source
    usual = said("800rpm 220W", "1200rpm 300W", "1400rpm 330W")
    assert next(f for f in usual if f.subject == "drag power").state == "clear"
    high = said("800rpm 400W", "1200rpm 620W", "1400rpm 720W")
    assert next(f for f in high if f.subject == "drag power").state == "attention"


def test_no_readings_make_no_findings():
    assert supply.findings([]) == ()


def test_a_spin_without_a_pump_before_it_is_worth_a_look():
    spin = Phase(label="spin", start_s=60.0, end_s=120.0, confidence=0.9)
    quiet = Phase(label="quiet", start_s=0.0, end_s=60.0, confidence=0.9)
    wash = tuple(
        Phase(label="wash motion", start_s=start, end_s=start + 10.0, confidence=0.9)
        for start in (2.0, 20.0)
    )
    for before in ((), wash[:1]):
        short = PhaseList(phases=(*before, quiet, spin), drained_before_spin=False)
        assert programme.findings(short) == ()
    dry = PhaseList(phases=(*wash, quiet, spin), drained_before_spin=False)
    (found,) = programme.findings(dry)
    assert found.state == "attention"
    assert "until it is out" in found.next_step


def test_without_the_drums_own_speed_nothing_is_said_of_its_shaking():
    unknown = Vibration(kind="acceleration", reason="the drum's own speed is not known: no order")
    for said_by in (imbalance, suspension, looseness, oscillation):
        for found in said_by.findings(unknown):
            assert found.state == "not measurable"
            assert "own speed is not known" in found.reason
