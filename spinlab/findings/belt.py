"""Belt: creep, slip, the wrong ratio, a damaged place."""

from __future__ import annotations

from typing import Any

from spinlab.drive.belt_pass import BeltPass
from spinlab.drive.measure import MOST_TOLERANCE_PERCENT, Drive, coverage_note
from spinlab.drive.ratio import DriveRatio
from spinlab.drive.squeal import Squeal
from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.phrase import Phrase, say
from spinlab.speed.track import Estimate

# Slip from which a piece of ramp counts; creep of a healthy belt is 0.5-1 % (value from memory).
SLIP_PERCENT = 1.2
CREEP_PERCENT = 1.5
# How far the row of the belt's harmonics must stand above rows beside it, in their deviations: of
# 30 simulated sound belts (tuning seeds) the highest lay at 2.6, of 16 with a damaged place of
# severity 0.5 twelve lay at 5 or more.
BELT_PASS_EXCESS = 4.0
# By how much more a cry stands out while the motor pulls than else, from which it counts, and how
# sound belts scatter (1 sigma): of 60 simulated units whose belt is sound (tuning seeds) the
# highest lay at 1.8 dB, the next at 1.4; of 18 that slip by 3 % or more and cry sixteen above 2.0.
SQUEAL_DB, SQUEAL_SCATTER_DB = 2.0, 0.35
# Of the pieces of ramps, the share in which the motor must be heard before no slip means none.
LEAST_RAMPS_HEARD = 0.5
CHECK = (
    "with the plug pulled: belt tension and edges, rubber dust, shine or cracks on belt and motor "
    "pulley, pulley bolt, motor mount in its slots"
)
SLIP = "belt slip"
DAMAGED = "damaged place on the belt"
LOOK = "look along the whole belt by hand, with the plug pulled; a recording at the machine's rear"
BETTER = (
    "a sound recording within half a metre of the machine's rear or side, and a profile with the "
    "motor's counts (pole pairs, slots or commutator bars)"
)


def findings(drive: Drive) -> tuple[Finding, ...]:
    """What can be said of the belt; nothing for a direct drive."""
    if drive.direct:
        return ()
    ratio = drive.ratio
    if drive.reason or ratio is None or ratio.ratio is None:
        reason = drive.reason or (ratio.reason if ratio is not None else "")
        slip = _slip(None, drive) or not_measurable("belt", SLIP, reason, BETTER)
        return (slip, *_damaged(drive))
    unheard = not_measurable("belt", SLIP, _unheard(ratio), BETTER, evidence=_evidence(drive))
    return (_slip(ratio, drive) or unheard, *_wrong_ratio(ratio, drive), *_damaged(drive))


def _unheard(ratio: DriveRatio) -> Phrase:
    if not ratio.ramp_pieces:
        return say("no ramp at a known speed is in the recording, and a belt slips in ramps")
    return say(
        "nothing cries while the motor pulls, and the motor itself is heard in {heard} of {pieces} "
        "pieces of ramps only: slip in the others would go unnoticed",
        heard=len(ratio.ramps),
        pieces=ratio.ramp_pieces,
    )


def _slip(ratio: DriveRatio | None, drive: Drive) -> Finding | None:
    """What the motor's lead and its cry say; None where silence of both would say nothing."""
    lead, cry = 0.0 if ratio is None else _lead(ratio), _cry(drive.squeal)
    probability, rivals = shared(
        1.0 - (1.0 - lead) * (1.0 - cry),
        {
            "tacho or controller that let the motor run ahead for a moment": 0.1 * (lead >= cry),
            "another source's tone taken for the motor": 0.12 * (lead >= cry),
            "seal, bearing or panel that squeals under load": 0.3 * (cry > lead),
            "whine of the motor while it pulls": 0.15 * (cry > lead),
        },
    )
    state = state_of(probability)
    pieces = 0 if ratio is None else ratio.ramp_pieces
    told = ratio is not None and pieces and len(ratio.ramps) >= LEAST_RAMPS_HEARD * pieces
    if state == "clear" and not told:
        return None
    words = "" if ratio is None else _slip_words(ratio, ratio.creep_percent)
    cried = drive.squeal if cry > lead and state != "clear" else None
    return Finding(
        kind="belt",
        subject=SLIP,
        state=state,
        probability=probability,
        evidence=_evidence(drive),
        rivals=rivals,
        next_step=CHECK if state != "clear" else "",
        reason=words if cried is None else _cry_words(cried),
    )


def _lead(ratio: DriveRatio) -> float:
    """Chance that the motor ran ahead of the drum by more than a healthy belt's creep."""
    chances = [
        chance_above(e.slip_percent.value, e.slip_percent.standard_uncertainty, SLIP_PERCENT)
        for e in ratio.slips
    ]
    sign = max(chances, default=0.0)
    if len(chances) >= 2:
        sign = 1.0 - (1.0 - sign) * 0.5
    creep = ratio.creep_percent
    if creep is not None:
        sign = max(sign, chance_above(creep.value, creep.standard_uncertainty, CREEP_PERCENT))
    return sign


def _cry(heard: Squeal | None) -> float:
    if heard is None or heard.more_db is None:
        return 0.0
    return chance_above(heard.more_db, SQUEAL_SCATTER_DB, SQUEAL_DB)


def _cry_words(heard: Squeal) -> Phrase:
    return say(
        "a cry near {pitch:.0f} Hz that does not follow the speed stands out by {more:.1f} dB more "
        "while the motor pulls than on plateaus and while it runs out",
        pitch=heard.pitch_hz,
        more=heard.more_db,
    )


def _slip_words(ratio: DriveRatio, creep: Estimate | None) -> str:
    if ratio.slips:
        worst = max(ratio.slips, key=lambda e: e.slip_percent.value)
        return say(
            "the motor runs ahead of the drum by {slip:.1f} +- {half:.1f} % at "
            "{time:.0f} s, {speed:.0f} rpm, rising {slope:.0f} rpm/s",
            slip=worst.slip_percent.value,
            half=1.96 * worst.slip_percent.standard_uncertainty,
            time=worst.time_s,
            speed=worst.speed_rpm,
            slope=worst.slope_rpm_per_s,
        )
    if creep is not None:
        return say(
            "the ratio of motor to drum changes by {value:.2f} +- {half:.2f} % "
            "from the slowest to the fastest plateau; no piece of a ramp stands "
            "out",
            value=creep.value,
            half=1.96 * creep.standard_uncertainty,
        )
    return "no stretch stands out in which the motor runs ahead of the drum"


def _evidence(drive: Drive) -> dict[str, Any]:
    cry = drive.squeal
    squealing = {
        "squeal_hz": None if cry is None else cry.pitch_hz,
        "squeal_more_db": None if cry is None else cry.more_db,
    }
    if drive.ratio is None or drive.ratio.ratio is None:
        return squealing
    return _ratio_evidence(drive.ratio, drive) | squealing


def _ratio_evidence(ratio: DriveRatio, drive: Drive) -> dict[str, Any]:
    return {
        **numbers("motor_turns_per_drum_turn", ratio.ratio),
        **numbers("creep_percent", ratio.creep_percent),
        "plateaus": [
            {"speed_rpm": p.speed_rpm, **numbers("ratio", p.ratio)} for p in ratio.plateaus
        ],
        "slips": [
            {
                "time_s": e.time_s,
                "speed_rpm": e.speed_rpm,
                "slope_rpm_per_s": e.slope_rpm_per_s,
                **numbers("slip_percent", e.slip_percent),
            }
            for e in ratio.slips
        ],
        "ramp_pieces_measured": len(ratio.ramps),
        "ramp_pieces": ratio.ramp_pieces,
        "leans_on": coverage_note(drive),
    }


def _wrong_ratio(ratio: DriveRatio, drive: Drive) -> tuple[Finding, ...]:
    """Only where the profile's ratio is sharp enough to be departed from."""
    expected, tolerance = drive.expected_ratio, drive.expected_tolerance_percent
    if expected is None or tolerance is None or tolerance > MOST_TOLERANCE_PERCENT:
        return ()
    assert ratio.ratio is not None
    away = 100.0 * (ratio.ratio.value / expected - 1.0)
    u = 100.0 * ratio.ratio.standard_uncertainty / expected
    # Creep adds to the pulleys' ratio: up to 1 % more is a healthy belt's.
    beyond = chance_above(away, u, tolerance + 1.0) + chance_above(-away, u, tolerance)
    if beyond < 0.35:
        return ()
    probability, rivals = shared(
        min(beyond, 1.0),
        {"wrong profile for this unit": 1.0, "steady belt slip": 0.3 if away > 0 else 0.02},
    )
    return (
        Finding(
            kind="belt",
            subject="wrong pulley or belt",
            state="attention",
            probability=probability,
            evidence={
                **numbers("motor_turns_per_drum_turn", ratio.ratio),
                "profile_ratio": expected,
                "profile_tolerance_percent": tolerance,
                "departure_percent": away,
                "departure_standard_uncertainty_percent": u,
            },
            rivals=rivals,
            next_step="compare pulley diameters and belt with the parts list",
            reason=say(
                "the ratio is {ratio:.3f}, {away:+.1f} % from the profile's {expected:g}",
                ratio=ratio.ratio.value,
                away=away,
                expected=expected,
            ),
        ),
    )


def _damaged(drive: Drive) -> tuple[Finding, ...]:
    belt = drive.belt_pass
    if belt is None:
        return ()
    if belt.excess is None or belt.nepers is None:
        return (
            not_measurable(
                "belt",
                DAMAGED,
                belt.reason,
                "put length_mm and pulley_diameter_mm of the belt into the profile",
            ),
        )
    evidence = {
        "belt_order": belt.order,
        "harmonics_heard": belt.heard,
        "harmonics_looked_at": belt.harmonics,
        "mean_nepers": belt.nepers,
        "excess_over_other_rows": belt.excess,
    }
    if belt.excess < BELT_PASS_EXCESS:
        # A sound belt is seldom heard either: silence cannot tell it from a drowned slap.
        reason = say(
            "the belt's passing ({order:.3f} per drum turn) does not stand out of the noise: most "
            "sound belts are as quiet, and a damaged place may be drowned",
            order=belt.order,
        )
        return (not_measurable("belt", DAMAGED, reason, LOOK, evidence=evidence),)
    return (_heard_passing(belt, belt.excess, evidence),)


def _heard_passing(belt: BeltPass, excess: float, evidence: dict[str, Any]) -> Finding:
    """A row of the belt's harmonics that stands out."""
    sign = chance_above(excess, 1.0, BELT_PASS_EXCESS)
    probability, rivals = shared(
        sign, {"stiff splice of a sound belt": 0.2, "debris on a pulley": 0.15}
    )
    return Finding(
        kind="belt",
        subject=DAMAGED,
        state=state_of(probability),
        probability=probability,
        evidence=evidence,
        rivals=rivals,
        next_step=CHECK,
        reason=say(
            "{heard} of {harmonics} lines of the belt's passing ({order:.3f} per drum turn) "
            "stand out of the noise, {excess:.0f} deviations more than of rows beside it",
            heard=belt.heard,
            harmonics=belt.harmonics,
            order=belt.order,
            excess=excess,
        ),
    )
