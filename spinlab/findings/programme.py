"""What the phases of a whole service test say, and the tones that stand still."""

from __future__ import annotations

from spinlab.finding import Finding
from spinlab.findings.judge import not_measurable, shared
from spinlab.findings.pump import pump_findings
from spinlab.phases.value import PhaseList
from spinlab.phrase import join, listed, say
from spinlab.speed.track import SpeedTrack

# A valve lets in eight to ten litres a minute: less than this wets nothing; common practice, no
# published source.
SHORTEST_FILL_S = 8.0
LEAST_WET = 2


def findings(phases: PhaseList | None, track: SpeedTrack | None = None) -> tuple[Finding, ...]:
    """Drain before spin, and fixed tones with their likely source."""
    found = [] if phases is None else _drained(phases) + pump_findings(phases)
    return tuple(found + ([] if track is None else _tones(track)))


def _drained(phases: PhaseList) -> list[Finding]:
    spins = phases.of("spin")
    fills = [p for p in phases.of("fill") if p.duration_s >= SHORTEST_FILL_S]
    wet = [p for p in (*fills, *phases.of("wash motion")) if spins and p.end_s < spins[0].start_s]
    # Of a recording that holds the spin alone nobody can say whether water was let out before; one
    # stretch that hisses or turns slowly is no wash yet.
    if len(wet) < LEAST_WET:
        return []
    subject = "drain before the spin"
    evidence = {
        "spin_start_s": spins[0].start_s,
        "pump_phases_s": [[p.start_s, p.end_s] for p in phases.of("pump")],
    }
    if phases.drained_before_spin is None:
        return [
            not_measurable(
                "stage",
                subject,
                "something runs before the spin that could be the pump or not",
                "record from before the drain on, phone near the pump",
                evidence=evidence,
            )
        ]
    if phases.drained_before_spin:
        return [
            Finding(
                kind="stage",
                subject=subject,
                state="clear",
                probability=0.05,
                evidence=evidence,
                reason="a pump runs before the drum spins",
            )
        ]
    probability, rivals = shared(
        0.55, {"the water was out before the recording began": 1.0, "a pump too quiet to hear": 0.6}
    )
    return [
        Finding(
            kind="stage",
            subject=subject,
            state="attention",
            probability=probability,
            evidence=evidence,
            rivals=rivals,
            next_step="look whether water stands in the drum; the drum should not spin until it is "
            "out",
            reason="no pump is heard before the drum spins",
        )
    ]


def _tones(track: SpeedTrack) -> list[Finding]:
    """Listed, not judged: so that nobody takes them for the drum or a bearing."""
    if not track.steady_lines:
        return []
    lines = sorted(track.steady_lines, key=lambda line: -line.level_db)[:8]
    by_source: dict[str, list[str]] = {}
    for line in lines[:4]:
        told = say("{frequency:.1f}", frequency=line.frequency_hz)
        by_source.setdefault(line.likely_source, []).append(told)
    words = join(
        "; ",
        (
            say(
                "{frequencies} Hz ({likely_source})", frequencies=listed(told), likely_source=source
            )
            for source, told in by_source.items()
        ),
    )
    return [
        Finding(
            kind="supply",
            subject="tones that stand still",
            state="clear",
            probability=0.0,
            evidence={
                "mains_hz": None if track.mains_hz is None else track.mains_hz.value,
                "tones": [
                    {
                        "frequency_hz": line.frequency_hz,
                        "level_db": line.level_db,
                        "likely_source": line.likely_source,
                    }
                    for line in lines
                ],
            },
            reason=say("not locked to the drum: {words}", words=words),
        )
    ]
