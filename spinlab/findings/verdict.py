"""The verdict: one plain sentence about the unit, from stages, findings, track and quality.

The gravest finding decides: fault, then attention.  A finding that could not be measured takes
nothing from an otherwise sound result; a drum whose speed, or whose top stage, could not be
measured is "not measurable", never "clear".
"""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.finding import Finding, State, Verdict
from spinlab.phrase import Phrase, clause, join, many, say, sentence
from spinlab.quality.value import Quality
from spinlab.speed.track import SpeedTrack
from spinlab.stages import Stage, StageTable

COVERAGE = 2.0  # GUM, JCGM 100:2008, 6.3
RIVAL_WORTH_SAYING = 0.1


def verdict(
    stages: StageTable, findings: Sequence[Finding], track: SpeedTrack, quality: Quality
) -> Verdict:
    """The sentence that stands first, and its state.

    Args:
        stages: the stage table.
        findings: every finding.
        track: the drum's speed.
        quality: what the recording is good for.
    """
    speed = _speed_sentence(stages, track, quality)
    for state in ("fault", "attention"):
        grave = _of(findings, state)
        if grave:
            return Verdict(state=state, sentence=_join(_named(grave), speed))
    if not _measured(stages, track, quality):
        return Verdict(state="not measurable", sentence=sentence(speed))
    return Verdict(state="clear", sentence=_join(speed, say("nothing else stands out")))


def _of(findings: Sequence[Finding], state: State) -> list[Finding]:
    """Findings of one state, the surest first."""
    chosen = [finding for finding in findings if finding.state == state]
    return sorted(chosen, key=lambda f: -(f.probability or 0.0))


def _named(grave: Sequence[Finding]) -> str:
    """The first finding in words, and how many more there are of its state."""
    first = grave[0]
    words = say("{subject}", subject=first.subject)
    if first.probability:
        words += say(" (probability {chance:.0f} %)", chance=100 * first.probability)
    if len(grave) == 2:
        words += say(" and {subject}", subject=grave[1].subject)
    elif len(grave) > 2:
        words += say(" and {others} findings more", others=len(grave) - 1)
    return words


def _measured(stages: StageTable, track: SpeedTrack, quality: Quality) -> bool:
    """Whether the speed, up to the programme's last stage, is known in rpm."""
    if not quality.usable or track.scale == "relative" or not track.known.any():
        return False
    expected = [stage for stage in stages.stages if stage.expected_rpm is not None]
    return not expected or expected[-1].outcome != "not measurable"


def _speed_sentence(stages: StageTable, track: SpeedTrack, quality: Quality) -> str:
    if not quality.usable:
        return quality.reason or "the recording cannot be used"
    if not track.known.any() or track.scale == "relative":
        why = track.reason or "nothing in the recording tells it"
        words = say("the drum's speed could not be measured: {why}", why=why)
        return words + _indicated(stages)
    expected = [stage for stage in stages.stages if stage.expected_rpm is not None]
    if not expected:
        return _without_programme(stages) + _rival(track)
    open_ = [stage for stage in expected if stage.outcome == "not measurable"]
    if open_ and open_[-1] is expected[-1]:
        return _top_stage_open(expected)
    words = _reached(expected)
    if open_:
        words += say(", {open} could not be measured", open=len(open_))
    return words + _top(stages) + _rival(track)


def _indicated(stages: StageTable) -> str:
    """The speeds that are known roughly, in a clause of their own; empty where none are."""
    shown = [stage for stage in stages.stages if stage.indicated_rpm is not None]
    if not shown:
        return ""
    half = max(
        COVERAGE * (stage.indicated_standard_uncertainty_rpm or 0.0) / (stage.indicated_rpm or 1.0)
        for stage in shown
    )
    return say(
        "; as an indication, the drum stood at about {speeds} rpm, each to within {half:.1f} %",
        speeds=join(", ", [f"{stage.indicated_rpm:.0f}" for stage in shown]),
        half=100 * half,
    )


def _reached(expected: Sequence[Stage]) -> Phrase:
    reached = sum(stage.outcome == "reached" for stage in expected)
    if reached == len(expected):
        return many(
            "the one stage asked for is reached",
            "all {count} stages are reached",
            count=len(expected),
        )
    return many(
        "{reached} of {count} stage is reached",
        "{reached} of {count} stages are reached",
        count=len(expected),
        reached=reached,
    )


def _top_stage_open(expected: Sequence[Stage]) -> str:
    top = expected[-1]
    words = say("the top stage, {rpm:g} rpm, could not be measured", rpm=top.expected_rpm)
    if any(stage.outcome == "reached" for stage in expected):
        return join("; ", [words, _reached(expected)])
    return words + ": " + top.reason


def _without_programme(stages: StageTable) -> Phrase:
    held = len(stages.stages)
    if not held:
        words = say("the drum holds no speed")
    else:
        words = many("the drum holds {count} speed", "the drum holds {count} speeds", count=held)
    return words + _top(stages) + say("; no profile was given to judge that by")


def _top(stages: StageTable) -> str:
    top, u = stages.top_speed_rpm, stages.top_speed_standard_uncertainty_rpm
    if top is None or u is None:
        return ""
    half = max(COVERAGE * u, 1.0)  # whole rpm are known no better
    return say(", top speed {top:.0f} ± {half:.0f} rpm", top=top, half=half)


def _rival(track: SpeedTrack) -> str:
    """The heaviest other reading of the speed, where it is worth saying."""
    others = [r for r in track.rivals if abs(r.ratio - 1.0) > 0.01]
    worst = max(others, key=lambda rival: rival.weight, default=None)
    if worst is None or worst.weight < RIVAL_WORTH_SAYING:
        return ""
    return say(
        " (but {ratio:.2g} times this speed has weight {weight:.0f} %)",
        ratio=worst.ratio,
        weight=100 * worst.weight,
    )


def _join(first: str, second: str) -> str:
    return sentence(join("; ", [clause(first), second]))
