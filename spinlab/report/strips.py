"""A clip as a strip: its loudness drawn over its time, for a cursor to run along while it plays."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.lesson import SLOW_PACE
from spinlab.lesson.value import Listen, Question
from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.report.language import tell
from spinlab.report.sound import sound_uri
from spinlab.report.words import number

# Columns of a strip, enough to part the knocks of a race in two seconds of a fast spin, and half
# its height, in units of its own.
COLUMNS, HALF = 600, 20


def strip(clip: Listen, *, name: str, label: str) -> dict[str, Any]:
    """What the template needs to play a clip with a cursor.

    Args:
        clip: what is heard.
        name: what is written above it.
        label: what a screen reader calls it.
    """
    played_s = len(clip.samples) / clip.rate_hz
    sound = Recording(kind="sound", samples=clip.samples[None, :], rate_hz=clip.rate_hz)
    return {
        "name": name,
        "label": label,
        "uri": sound_uri(sound) or "",
        "wave": wave(clip.samples),
        "played_s": round(played_s, 2),
        "start_s": round(clip.start_s, 3),
        "pace": round((clip.end_s - clip.start_s) / played_s, 4) if played_s else 1.0,
    }


def strips_say() -> dict[str, str]:
    """What the strips' script says; the field in braces is filled by the script."""
    return {"at": tell(say("{{time}} in the file")), "mark": number(0.5, 1)[1]}


def apart_words(one: Question) -> str:
    """What was done to the clips in which the proof is heard alone."""
    if one.band_hz is None:
        return ""
    low, high = (number(edge / 1000, 1) for edge in one.band_hz)
    return tell(
        "Only {low} to {high} kHz, {slow:.0f} times slower: there the knocks can be counted.",
        low=low,
        high=high,
        slow=1 / SLOW_PACE,
    )


def wave(samples: NDArray[np.floating[Any]]) -> str:
    """A path of SVG around the middle, as wide in each column as the sound is loud there.

    Args:
        samples: shape (n,).

    Returns:
        Path within `COLUMNS` by 2 `HALF` units; empty for silence.

    >>> wave(np.zeros(1000))
    ''
    >>> wave(np.ones(6000))[:14]
    'M0 2L1 2L2 2L3'
    """
    count = min(COLUMNS, len(samples))
    pieces = np.array_split(np.asarray(samples, dtype=np.float64), count) if count else []
    loud = np.array([np.sqrt(np.mean(piece**2)) for piece in pieces])
    highest = float(loud.max(initial=0.0))
    if highest <= 0.0:
        return ""
    heights = np.rint(0.9 * HALF * loud / highest).astype(int)
    upper = [f"{column} {HALF - height}" for column, height in enumerate(heights)]
    lower = [f"{column} {HALF + height}" for column, height in reversed(list(enumerate(heights)))]
    return "M" + "L".join([*upper, *lower]) + "Z"
