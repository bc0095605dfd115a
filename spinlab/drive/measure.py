"""Belt, motor and supply, measured from sound in one call; what cannot be measured says why."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from spinlab.drive.arcing import Arcing, arcing
from spinlab.drive.belt_pass import HARMONICS, BeltPass, belt_pass
from spinlab.drive.carrier import Carrier, carrier
from spinlab.drive.mains import mains_frequency_hz
from spinlab.drive.motor import MotorOrders, family_names, motor_orders
from spinlab.drive.ratio import DriveRatio, drive_ratio, motor_members
from spinlab.drive.spectra import OrderSpectra, order_spectra, without
from spinlab.drive.squeal import Squeal, squeal
from spinlab.drive.surges import Surges, surges
from spinlab.machine.value import Machine
from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.plateaus import Span, plateau_spans

TURNS = 32.0
HIGHEST_ORDER = 360.0  # of the drum: what a track can hold together over a window
BAND_SHARE = 0.42
SPAN_PERCENT = 4.0
HUM_MULTIPLES = 20
BELT_HEARD = 4.0  # excess of the belt's row from which its lines are kept from the motor's
# A profile's ratio must be this sure before a departure from it means anything.
MOST_TOLERANCE_PERCENT = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Drive:
    """What was measured of belt and motor; `reason` says why there is nothing.

    Attributes:
        direct: True for a direct drive, which has no ratio.
        ratio: motor turns per drum turn over the test.
        expected_ratio, expected_tolerance_percent: from the profile, None without one.
        motor: families of motor orders.
        belt_pass: the belt's own passing.
        squeal: a cry while the motor pulls, of a belt drive.
        arcing, carrier: for a brushed and for an inverter-fed motor.
        surges: rises that were cut off; known from the track alone, whatever `reason` says.
    """

    direct: bool = False
    ratio: DriveRatio | None = None
    expected_ratio: float | None = None
    expected_tolerance_percent: float | None = None
    motor: MotorOrders | None = None
    belt_pass: BeltPass | None = None
    squeal: Squeal | None = None
    arcing: Arcing | None = None
    carrier: Carrier | None = None
    surges: Surges = field(default_factory=Surges)
    reason: str = ""


def belt_order(machine: Machine | None) -> float | None:
    """Belt passes per drum turn, pi D / L, if the profile knows the belt."""
    belt = None if machine is None else machine.belt
    if belt is None or belt.length_mm is None or belt.pulley_diameter_mm is None:
        return None
    return math.pi * belt.pulley_diameter_mm / belt.length_mm


def measure(
    recording: Recording,
    track: SpeedTrack,
    machine: Machine | None,
    *,
    usable_band_hz: tuple[float, float] | None = None,
) -> Drive:
    """Measure ratio, motor families, belt pass, arcing, carrier and surges.

    Args:
        recording: sound (an acceleration log samples too slowly for a motor).
        track: the drum's speed.
        machine: the profile; without it only what the track itself knows of the motor.
        usable_band_hz: what the recorder let through.
    """
    found = _measure(recording, track, machine, usable_band_hz)
    return found if track.scale == "relative" else replace(found, surges=surges(track))


def _measure(
    recording: Recording,
    track: SpeedTrack,
    machine: Machine | None,
    usable_band_hz: tuple[float, float] | None,
) -> Drive:
    direct = machine is not None and machine.drive == "direct"
    expected, tolerance = _expected(machine, direct)
    spans = plateau_spans(track)
    if recording.kind != "sound":
        return Drive(
            direct=direct,
            reason="an acceleration log samples too slowly for the motor's "
            "orders; a sound recording would tell",
        )
    if track.scale == "relative":
        why = track.reason or "only ratios of speeds are known"
        return Drive(direct=direct, reason=say("the drum's own speed is not known: {why}", why=why))
    if not spans:
        return Drive(direct=direct, reason="no plateau of two seconds or more with a known speed")
    start = _start_ratio(track, expected, direct)
    if start is None:
        return Drive(
            direct=direct,
            reason="neither the track nor a profile says how the motor's "
            "speed relates to the drum's; a profile with the ratio would",
        )
    spectra = order_spectra(
        recording, track, highest_order=_highest(recording, machine, start, spans), turns=TURNS
    )
    ratio = belt = None
    used = start
    if not direct:
        belt = belt_pass(spectra, belt_order(machine))
        free = without(spectra, tones_hz=_hum(track, machine), orders=_belt_lines(belt))
        span = SPAN_PERCENT if track.motor_ratio is None else 1.5
        ratio = _ratio(free, track, machine, start, span_percent=span)
        if ratio.ratio is None and expected is not None:
            # The track's own ratio may be one of slipping ramps.
            ratio = _ratio(free, track, machine, expected, span_percent=SPAN_PERCENT)
        used = ratio.ratio.value if ratio.ratio is not None else start
    found = None if ratio is not None and ratio.ratio is None else used
    return Drive(
        direct=direct,
        ratio=ratio,
        expected_ratio=expected,
        expected_tolerance_percent=tolerance,
        motor=_motor(spectra, machine, found, spans),
        belt_pass=belt,
        squeal=None if direct else squeal(recording, track, motor_ratio=used),
        arcing=_arcing(recording, track, machine, usable_band_hz),
        carrier=_carrier(recording, machine, found, spans),
    )


def _ratio(
    spectra: OrderSpectra,
    track: SpeedTrack,
    machine: Machine | None,
    expected: float,
    *,
    span_percent: float,
) -> DriveRatio:
    members = _members(track, machine, expected)
    return drive_ratio(spectra, track, members, expected=expected, span_percent=span_percent)


def _hum(track: SpeedTrack, machine: Machine | None) -> list[float]:
    """The mains frequency and its multiples, in Hz; nothing where it is not known."""
    mains_hz = mains_frequency_hz(track, machine)
    return [] if mains_hz is None else [k * mains_hz for k in range(1, HUM_MULTIPLES + 1)]


def _belt_lines(belt: BeltPass) -> list[float]:
    """Orders of a belt that is plainly heard: its row would drown the motor's."""
    if belt.order is None or belt.excess is None or belt.excess < BELT_HEARD:
        return []
    return [k * belt.order for k in range(1, HARMONICS + 1)]


def _expected(machine: Machine | None, direct: bool) -> tuple[float | None, float | None]:
    if machine is None or direct:
        return None, None
    return machine.drum_to_motor_ratio, machine.drum_to_motor_ratio_tolerance_percent


def _start_ratio(track: SpeedTrack, expected: float | None, direct: bool) -> float | None:
    if direct:
        return 1.0
    if track.motor_ratio is not None:
        return track.motor_ratio.value
    return expected


def _members(track: SpeedTrack, machine: Machine | None, ratio: float) -> tuple[float, ...]:
    """Orders of the motor's shaft: from the profile's counts and from what the track heard."""
    counts: tuple[int | None, int | None, int | None] = (None, None, None)
    if machine is not None:
        m = machine.motor
        counts = (m.pole_pairs, m.slots, m.commutator_bars)
    members = set(motor_members(pole_pairs=counts[0], slots=counts[1], commutator_bars=counts[2]))
    for line in track.lines:
        own = line.order / ratio
        if line.source == "motor" and abs(own - round(own)) < 0.02 and 1 <= round(own) <= 200:
            members.add(float(round(own)))
    return tuple(sorted(members))


def _highest(
    recording: Recording, machine: Machine | None, ratio: float, spans: tuple[Span, ...]
) -> float:
    top_hz = max(span.speed_rpm for span in spans) / 60.0
    within = BAND_SHARE * recording.rate_hz / top_hz
    wanted = 4.0 * ratio
    if machine is not None:
        m = machine.motor
        counts = [c for c in (m.slots, m.commutator_bars) if c]
        counts += [12 * m.pole_pairs] if m.pole_pairs and machine.motor.kind != "brushed" else []
        wanted = max([wanted, *(ratio * c for c in counts)])
    return float(min(1.25 * wanted + 2.0, within, HIGHEST_ORDER))


def _motor(
    spectra: OrderSpectra, machine: Machine | None, ratio: float | None, spans: tuple[Span, ...]
) -> MotorOrders:
    if ratio is None:
        return MotorOrders(reason="the motor's orders do not stand out of the noise")
    pairs = slots = bars = None
    if machine is not None:
        pairs, slots = machine.motor.pole_pairs, machine.motor.slots
        bars = machine.motor.commutator_bars
        if machine.motor.kind == "brushed":
            pairs = None
    names = family_names(pole_pairs=pairs, slots=slots, commutator_bars=bars)
    return motor_orders(
        spectra,
        names,
        ratio=ratio,
        pole_pairs=pairs,
        plateaus_rpm=_distinct([span.speed_rpm for span in spans]),
    )


def _distinct(speeds: list[float]) -> tuple[float, ...]:
    kept: list[float] = []
    for speed in sorted(speeds):
        if not kept or speed - kept[-1] > 25.0:
            kept.append(speed)
    return tuple(kept)


def _arcing(
    recording: Recording,
    track: SpeedTrack,
    machine: Machine | None,
    usable_band_hz: tuple[float, float] | None,
) -> Arcing | None:
    if machine is None or machine.motor.kind != "brushed":
        return None
    mains_hz = mains_frequency_hz(track, machine)
    if mains_hz is None:
        return Arcing(reason="the mains frequency is not known; the profile can state it")
    return arcing(recording, track, mains_hz=mains_hz, usable_band_hz=usable_band_hz)


def _carrier(
    recording: Recording, machine: Machine | None, ratio: float | None, spans: tuple[Span, ...]
) -> Carrier | None:
    if machine is None or machine.motor.kind == "brushed":
        return None
    if machine.motor.pole_pairs is None or ratio is None:
        return Carrier(reason="the motor's pole pairs or speed are not known")
    plateaus = [(s.start_s, s.end_s, s.speed_rpm) for s in spans]
    return carrier(recording, plateaus, electrical_order=2.0 * machine.motor.pole_pairs * ratio)


def coverage_note(drive: Drive) -> str:
    """How much of the ratio leans on the track instead of the drum's own orders."""
    share = 0.0 if drive.ratio is None else drive.ratio.drum_heard_share
    return say(
        "the drum's own orders were heard on {share:.0f} % of the plateaus",
        share=100 * np.clip(share, 0, 1),
    )
