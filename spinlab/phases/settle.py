"""Labelled pieces settled into phases: neighbours alike joined, short and doubtful absorbed."""

from __future__ import annotations

from dataclasses import replace

from spinlab.finding import Cause
from spinlab.phases.features import FRAME_S
from spinlab.phases.value import Phase

# From rest to the spin's first hundred rpm; common practice, no published source.
LONGEST_START_S = 25.0
# Tones that are the same to within a quarter hertz, and so many of them.
SAME_HZ = 0.5
LEAST_COMMON = 2
TRACKED = "the drum's speed track says so"


def unsure_beside_spin(phases: list[Phase]) -> list[Phase]:
    """Phases between two spins, straight after one, or straight before one and short.

    There the speed track has lost, or not yet found, a drum that turns: its noise is no fill, pump
    or wash motion.  Before a spin the drum starts and spreads its load, while a pump may run.
    """
    spins = [k for k, phase in enumerate(phases) if phase.label == "spin"]
    if not spins:
        return phases
    kept = list(phases)
    for k, here in enumerate(phases):
        after = k > spins[0] and (k < spins[-1] or phases[k - 1].label == "spin")
        before = k + 1 in spins and here.duration_s < LONGEST_START_S
        wrong = ("fill", "pump", "wash motion") if after else ("fill",) if before else ()
        if here.label in wrong and not _is_tracked(here):
            kept[k] = replace(
                here,
                label="running, not identified",
                confidence=min(here.confidence, 0.5),
                rivals=(Cause(cause="spin", probability=0.5), *here.rivals),
                evidence="the drum's speed is not known here, beside a stretch of spin",
            )
    return kept


def _is_tracked(phase: Phase) -> bool:
    return phase.evidence == TRACKED


def joined(phases: list[Phase]) -> list[Phase]:
    """Neighbours of one label become one, except the bursts of a wash motion."""
    out: list[Phase] = []
    for phase in phases:
        last = out[-1] if out else None
        alike = last is not None and last.label == phase.label
        touches = last is not None and phase.start_s - last.end_s < 1.01 * FRAME_S
        if last is not None and alike and touches:
            longer = last if last.duration_s >= phase.duration_s else phase
            out[-1] = replace(longer, start_s=last.start_s, end_s=phase.end_s)
        else:
            out.append(phase)
    return out


def absorbed(phases: list[Phase]) -> list[Phase]:
    """Short unsure pieces beside a pump or fill, and short lulls within one, belong to it."""
    out = list(phases)
    for _ in range(len(phases)):
        for k, phase in enumerate(out):
            sides = [out[j] for j in (k - 1, k + 1) if 0 <= j < len(out)]
            hosts = [s for s in sides if s.label in ("pump", "fill") and s.duration_s >= 6.0]
            same = len(hosts) == 2 and hosts[0].label == hosts[1].label
            lull = phase.label == "quiet" and phase.duration_s < 3.0 and same
            unsure = phase.label == "running, not identified" and phase.duration_s < 4.0
            if hosts and (lull or unsure):
                host = max(hosts, key=lambda s: s.duration_s)
                out[k] = replace(host, start_s=phase.start_s, end_s=phase.end_s)
                out = joined(out)
                break
        else:
            break
    return out


def continued(phases: list[Phase]) -> list[Phase]:
    """A pump goes on where its tones do, though its noise changes: it draws air then."""
    out = list(phases)
    for k in range(1, len(out)):
        before, here = out[k - 1], out[k]
        unnamed = here.label in ("running, not identified", "fill")
        if not unnamed or before.label != "pump" or _is_tracked(here):
            continue
        common = [f for f in here.lines_hz if any(abs(f - g) < SAME_HZ for g in before.lines_hz)]
        if len(common) >= LEAST_COMMON:
            out[k] = replace(before, start_s=here.start_s, end_s=here.end_s)
    return joined(out)


# A hum that fills a recording was never heard to start or stop: share left to the machine's pump
# beside every other motor on the mains in the house; common practice, no published source.
ALWAYS_PUMP = 0.4


def switched(phases: list[Phase]) -> list[Phase]:
    """The phases; a pump that runs from first to last may be any motor on the mains."""
    if len(phases) != 1 or phases[0].label != "pump" or phases[0].corrected:
        return phases
    share = phases[0].confidence * ALWAYS_PUMP
    return [
        replace(
            phases[0],
            label="running, not identified",
            confidence=1.0 - share,
            rivals=(
                Cause(cause="pump", probability=round(share, 2)),
                Cause(cause="another motor on the mains", probability=round(1.0 - share, 2)),
            ),
            evidence="hums from first to last: nothing is heard to start or stop",
        )
    ]


# What runs for less lets no drum's water out; common practice, no published source.
SHORTEST_DRAIN_S = 5.0


def drained(phases: list[Phase]) -> bool | None:
    """Whether a pump ran before the first spin; None without a spin or with a late start."""
    spins = [p for p in phases if p.label == "spin"]
    if not spins or spins[0].start_s < 5.0:
        return None
    before = [p for p in phases if p.start_s < spins[0].start_s]
    pumped_s = sum(p.duration_s for p in before if p.label == "pump")
    if pumped_s >= SHORTEST_DRAIN_S:
        return True
    unknown = any(
        p.label == "running, not identified" and p.duration_s >= SHORTEST_DRAIN_S for p in before
    )
    return None if unknown or pumped_s > 0.0 else False
