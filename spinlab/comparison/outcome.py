"""The outcome of a comparison in one sentence."""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.comparison.value import AmplitudeChange, LineChange, Pair, SpeedChange, Subject
from spinlab.finding import State
from spinlab.phrase import Phrase, clause, listed, many, say


def scope(
    lines: Sequence[LineChange],
    amplitudes: Sequence[AmplitudeChange],
    speeds: Sequence[SpeedChange],
) -> str:
    """What was compared, in words."""
    parts: list[Phrase] = []
    if lines:
        parts.append(say("{count} places of the order spectra", count=len(lines)))
    if any(one.probability is not None for one in amplitudes):
        parts.append(say("the shaking"))
    if speeds:
        parts.append(many("{count} speed held", "{count} speeds held", count=len(speeds)))
    return listed(parts)


def outcome(state: State, count: int, first: str, compared: str) -> str:
    """A pair's outcome in one sentence.

    Args:
        state: of the pair.
        count: changes stated.
        first: the leading one.
        compared: what was compared, in words.
    """
    if state == "not measurable":
        return say("Nothing could be compared; the reasons are listed.")
    if state == "clear":
        return say(
            "No change beyond what two takes of one machine show; compared: {scope}.",
            scope=compared,
        )
    if count == 1:
        return first
    return many(
        "{first}; one more change stated.",
        "{first}; {count} more changes stated.",
        count=count - 1,
        first=clause(first),
    )


def overall(pairs: Sequence[Pair], subjects: Sequence[Subject]) -> str:
    """The outcome over all pairs in one sentence."""
    if len(pairs) == 1:
        return pairs[0].sentence
    changed = [subjects[p.second].file for p in pairs if p.state == "attention"]
    if changed:
        return say(
            "{count} of {all} recordings differ from the first.",
            count=len(changed),
            all=len(pairs),
        )
    if all(pair.state == "not measurable" for pair in pairs):
        return say("Nothing could be compared; the reasons are listed.")
    return say("No recording differs from the first by more than takes of one machine do.")
