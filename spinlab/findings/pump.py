"""The drain pump: pumping water, drawing air, or not told."""

from __future__ import annotations

from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import not_measurable, shared
from spinlab.phases.value import PhaseList, PumpSound
from spinlab.phrase import say

# Correlation of the pump's tone with its noise: above the first the gurgle of water moves both,
# below the second slugs of air take the load off the tone as they hiss, and it swings by so much;
# between them nothing is said.  Found on simulated pumps (tuning seeds); no published source, no
# measured pump.
WATER_TOGETHER, AIR_TOGETHER = 0.5, -0.2
AIR_SWING_DB = 2.5
# A tone that stands out of the room by less swings with what is around it.
LEAST_ABOVE_DB = 10.0
# Every drain ends on air: only when it lasts is it worth a look; common practice, no published
# source.
LONGEST_AIR_S = 30.0
SUBJECT = "what the drain pump moves"
CHECK = (
    "let the drain run and look at the hose's end: no water or spurts with air mean an empty "
    "machine, a blocked filter or trap, a kinked hose, or water that runs back"
)
BETTER = "record the whole drain with the phone near the pump, and no other noise"


def pump_findings(phases: PhaseList) -> list[Finding]:
    """One finding if a pump was heard and measured."""
    heard = [(phase, phase.pump) for phase in phases.of("pump") if phase.pump is not None]
    if not heard:
        return []
    told = [kind for _, pump in heard for kind in pieces(pump)]
    starts = [start for _, pump in heard for start in pump.start_s]
    if "pumping water" in told:
        # Air comes when the water is out: what swings before it is something else.
        last = len(told) - 1 - told[::-1].index("pumping water")
        told[:last] = ["not told" if kind == "drawing air" else kind for kind in told[:last]]
    evidence: dict[str, Any] = {
        "pieces_s": starts,
        "tone_swing_db": [swing for _, pump in heard for swing in pump.tone_swing_db],
        "noise_swing_db": [swing for _, pump in heard for swing in pump.noise_swing_db],
        "tone_with_noise": [value for _, pump in heard for value in pump.together],
        "pieces": told,
    }
    air, water = told.count("drawing air"), told.count("pumping water")
    if 2 * (air + water) <= len(told):
        reason = (
            "the pump's tone swings neither with its noise, as in water, nor against it, as in air"
        )
        return [not_measurable("stage", SUBJECT, reason, BETTER, evidence=evidence)]
    if air == 0:
        reason = "the pump's tone swings with its noise, no more than it: it is pumping water"
        return [_clear(0.03, reason, evidence)]
    first = starts[told.index("drawing air")]
    reason = say(
        "the pump's tone sinks as its noise rises from {start:.0f} s on: it is drawing air",
        start=first,
    )
    if water:
        reason += say("; before that it is pumping water")
    length = starts[1] - starts[0] if len(starts) > 1 else 0.0
    if air * length <= LONGEST_AIR_S and water:
        return [_clear(0.1, reason + say(", as every drain ends"), evidence)]
    probability, rivals = shared(
        0.7, {"the machine is empty": 1.0, "another noise that swings": 0.3}
    )
    return [
        Finding(
            kind="stage",
            subject=SUBJECT,
            state="attention",
            probability=probability,
            evidence=evidence,
            rivals=rivals,
            next_step=CHECK,
            reason=reason,
        )
    ]


def pieces(pump: PumpSound) -> list[str]:
    """For each piece "pumping water", "drawing air" or "not told"."""
    told = []
    clear = pump.above_quiet_db >= LEAST_ABOVE_DB
    for tone, noise, together in zip(
        pump.tone_swing_db, pump.noise_swing_db, pump.together, strict=True
    ):
        if clear and together <= AIR_TOGETHER and tone >= AIR_SWING_DB:
            told.append("drawing air")
        elif clear and together >= WATER_TOGETHER and tone <= noise:
            told.append("pumping water")
        else:
            told.append("not told")
    return told


def _clear(probability: float, reason: str, evidence: dict[str, Any]) -> Finding:
    return Finding(
        kind="stage",
        subject=SUBJECT,
        state="clear",
        probability=probability,
        evidence=evidence,
        reason=reason,
    )
