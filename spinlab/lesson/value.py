"""A lesson as frozen values: questions with their clips, their answer and the proof."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spinlab.comparison.value import Comparison, LineChange

# Which clip is the right answer, or that the recordings prove no difference at this speed.
Answer = Literal["clip 1", "clip 2", "no difference"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Listen:
    """A piece of sound of one recording.

    Attributes:
        subject: place of the recording in the comparison, 0 or 1.
        start_s, end_s: on the file's own clock.
        samples: shape (n,), float32.
        rate_hz: at which they are to be played.
    """

    subject: int
    start_s: float
    end_s: float
    samples: NDArray[np.float32]
    rate_hz: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Question:
    """Two clips at one speed, equally loud, in a hidden order.

    Attributes:
        speed_rpm: of both.
        asked: what to listen for, in one sentence.
        clips: clip 1 and clip 2.
        answer: which of them is right.
        proof: lines whose change at this speed decides, the surest first; empty where none does.
        apart: both clips again, in the order of the recordings, filtered to where the proof
            stands and at a quarter of the pace; empty where there is no proof.
        band_hz: that part of the spectrum.
    """

    speed_rpm: float
    asked: str
    clips: tuple[Listen, Listen]
    answer: Answer
    proof: tuple[LineChange, ...] = ()
    apart: tuple[Listen, ...] = ()
    band_hz: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Lesson:
    """The questions and the comparison that answers them."""

    questions: tuple[Question, ...]
    comparison: Comparison
