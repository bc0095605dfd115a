"""Two analyses and their comparison made into a lesson."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence

import numpy as np

from spinlab.analysis import Analysis
from spinlab.clips import Clip, heard
from spinlab.comparison import compare
from spinlab.comparison.align import SpeedBin, speed_bins
from spinlab.comparison.allowed import gaps, why_no_orders
from spinlab.comparison.value import LineChange
from spinlab.errors import InputError
from spinlab.lesson.value import Answer, Lesson, Listen, Question
from spinlab.orders import Span
from spinlab.phrase import say

# Long enough for twenty turns of a slow spin, short enough to keep in the ear.
CLIP_S = 4.0
SHORTEST_S = 1.5
_SLOW_S, SLOW_PACE = 2.0, 0.25
MOST_QUESTIONS = 6
_MOST_PROOFS = 4
# Root mean square of every clip, and the peak that it may not pass: loudness must not tell.
LOUDNESS, HIGHEST_PEAK = 0.1, 0.9
_LEAST_TURNS = 10.0
NAMELESS = say("a line that turns with the drum")


def make_lesson(
    first: Analysis,
    second: Analysis,
    *,
    same_place: bool = True,
    rng: np.random.Generator | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Lesson:
    """Questions on every speed that two sound recordings share.

    Args:
        first, second: e.g. a good and a worn unit, or before and after.
        same_place: as in `compare`.
        rng: deals out which clip comes first; by default the files' hashes do, so that the same
            files always make the same lesson.
        progress: told the step and the share of it that is done.

    Raises:
        InputError: a recording is no sound, or no speed is shared.
    """
    for one, name in (
        (first, say("the first recording")),
        (second, say("the second recording")),
    ):
        if one.recording.kind != "sound":
            raise InputError(
                say("{name} is an acceleration log: a lesson needs sound to listen to.", name=name)
            )
        if why := why_no_orders(one, name):
            raise InputError(say("No lesson can be made: {why}.", why=why))
    comparison = compare([first, second], same_place=same_place, progress=progress)
    bins = _shared(first, second)
    if not bins:
        raise InputError(
            say("No lesson can be made: the recordings share no speed; use whole tests.")
        )
    lines = comparison.pairs[0].lines
    dealt = rng if rng is not None else np.random.default_rng(_seed(first, second))
    return Lesson(
        questions=tuple(
            _question((first, second), one, lines, swapped=bool(dealt.integers(2))) for one in bins
        ),
        comparison=comparison,
    )


def hear_both(
    first: Analysis, second: Analysis, lines: Sequence[LineChange]
) -> tuple[Question, ...]:
    """Clips of two recordings at every speed they share, in their own order: nothing is hidden.

    Args:
        first, second: the recordings of a pair.
        lines: that pair's, as `compare` found them.

    Returns:
        Slowest first; empty where one is no sound, or no speed is shared.
    """
    both = (first, second)
    if any(one.recording.kind != "sound" or why_no_orders(one, "") for one in both):
        return ()
    return tuple(_question(both, one, lines, swapped=False) for one in _shared(first, second))


def _seed(first: Analysis, second: Analysis) -> int:
    names = first.recording.source.sha256 + second.recording.source.sha256
    return int.from_bytes(hashlib.sha256(names.encode()).digest()[:8])


def _shared(first: Analysis, second: Analysis) -> list[SpeedBin]:
    """Speeds at which both hold a clip; the fastest ones, where damage is heard best."""
    bins = speed_bins(
        [first.track, second.track],
        gaps=[gaps(first), gaps(second)],
        least_turns=_LEAST_TURNS,
    )
    long = [one for one in bins if min(_longest(one, k) for k in (0, 1)) >= SHORTEST_S]
    return long[-MOST_QUESTIONS:]


def _longest(one: SpeedBin, number: int) -> float:
    return max((span.end_s - span.start_s for span in one.spans[number]), default=0.0)


def _question(
    pair: tuple[Analysis, Analysis],
    one: SpeedBin,
    lines: Sequence[LineChange],
    *,
    swapped: bool,
) -> Question:
    length_s = min(CLIP_S, _longest(one, 0), _longest(one, 1))
    spans = [_middle(one.spans[number], length_s) for number in (0, 1)]
    order = (1, 0) if swapped else (0, 1)
    family = _family(lines)
    proof, louder = _proof(lines, one.speed_rpm, family or "")
    band_hz = _band(proof)
    return Question(
        speed_rpm=one.speed_rpm,
        asked=_asked(family),
        clips=(
            _listen(pair[order[0]], order[0], spans[order[0]]),
            _listen(pair[order[1]], order[1], spans[order[1]]),
        ),
        answer=_answer(louder, order),
        proof=proof,
        apart=tuple(
            _listen(pair[k], k, _middle([spans[k]], _SLOW_S), band_hz=band_hz, pace=SLOW_PACE)
            for k in (0, 1)
            if band_hz is not None
        ),
        band_hz=band_hz,
    )


def _middle(spans: Sequence[Span], length_s: float) -> Span:
    """The middle of the longest of some stretches."""
    longest = max(spans, key=lambda span: span.end_s - span.start_s)
    centre = 0.5 * (longest.start_s + longest.end_s)
    half = 0.5 * min(length_s, longest.end_s - longest.start_s)
    return Span(centre - half, centre + half)


def _proof(
    lines: Sequence[LineChange], speed_rpm: float, family: str
) -> tuple[tuple[LineChange, ...], int]:
    """Stated changes of what is asked for that this speed alone shows too, all one way.

    Returns:
        The lines, and in which recording they are stronger: 0 or 1, -1 where there are none.
    """
    ways: dict[int, list[LineChange]] = {0: [], 1: []}
    for line in sorted(lines, key=lambda line: line.probability):
        here = next((at for at in line.at_speeds if at.speed_rpm == speed_rpm), None)
        if not line.claimed or here is None or line.family != family:
            continue
        if here.low_db is not None and here.low_db > 0:
            ways[1].append(line)
        elif here.high_db is not None and here.high_db < 0:
            ways[0].append(line)
    way = 1 if len(ways[1]) >= len(ways[0]) else 0
    return tuple(ways[way][:_MOST_PROOFS]), way if ways[way] else -1


def _family(lines: Sequence[LineChange]) -> str | None:
    """What the surest stated change belongs to, bearings before all else; None where none is."""
    claimed = sorted(
        (line for line in lines if line.claimed),
        key=lambda line: (line.family in ("", "drum", "motor"), line.probability),
    )
    return claimed[0].family if claimed else None


def _asked(family: str | None) -> str:
    """The same words at every speed, or they would give the answer away."""
    return say(
        "In which clip is this louder, against the rest of the noise: {what}?",
        what=family or NAMELESS,
    )


def _answer(louder: int, order: tuple[int, int]) -> Answer:
    if louder < 0:
        return "no difference"
    return "clip 1" if order[0] == louder else "clip 2"


def _band(proof: Sequence[LineChange]) -> tuple[float, float] | None:
    banded = next((line.band for line in proof if line.band is not None), None)
    return None if banded is None else (banded.low_hz, banded.high_hz)


def _listen(
    analysis: Analysis,
    subject: int,
    span: Span,
    *,
    band_hz: tuple[float, float] | None = None,
    pace: float = 1.0,
) -> Listen:
    clip = Clip(
        name="lesson",
        words="",
        start_s=span.start_s,
        end_s=span.end_s,
        band_hz=band_hz,
        pace=pace,
    )
    made = heard(analysis.recording, analysis.track, clip)
    samples = made.samples.astype(np.float64)
    strength = float(np.sqrt(np.mean(samples**2))) if len(samples) else 0.0
    peak = float(np.max(np.abs(samples), initial=0.0))
    if strength > 0:
        samples *= LOUDNESS / strength
        # Held, not scaled down: a clip with knocks must stay as loud as one without.
        samples = np.clip(samples, -HIGHEST_PEAK, HIGHEST_PEAK) if peak > 0 else samples
    return Listen(
        subject=subject,
        start_s=span.start_s,
        end_s=span.end_s,
        samples=samples.astype(np.float32),
        rate_hz=made.rate_hz,
    )
