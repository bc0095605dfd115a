"""What a comparison says, as frozen values.

A change runs from the first recording to the other one: negative is down.  A bound is None where
nothing bounds the change on that side, as where a line can no longer be told from noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spinlab.envelope.kurtosis import Band
from spinlab.finding import State
from spinlab.speed.track import Estimate
from spinlab.stages import Stage

Array = NDArray[np.float64]
# "envelope": a line of the squared envelope's order spectrum over its own noise floor, in dB of
# modulation depth (20 lg).  "signal", "shaking": a line of the order spectrum of a sound, or of an
# acceleration log, over its own noise floor, dB.
Measure = Literal["envelope", "signal", "shaking"]


@dataclass(frozen=True, kw_only=True)
class AtSpeed:
    """A line at one speed: level over its own floor in either recording, change, 95 % interval."""

    speed_rpm: float
    first_db: float
    second_db: float
    change_db: float | None
    low_db: float | None
    high_db: float | None


@dataclass(frozen=True, kw_only=True)
class LineChange:
    """One place in the order spectra of two recordings.

    Attributes:
        measure: which spectrum.
        band: the envelope's band; None for the others.
        order: multiple of the drum's rotation rate.
        label: what is known to stand there, e.g. "2 x drum"; "" where nothing is.
        family: what its lines have in common, e.g. a bearing's race; "" where nothing is known.
        first_db, second_db: level over the own noise floor, all shared speeds together.
        change_db, low_db, high_db: change of the line itself, the floor taken off.
        confidence: of the interval.
        probability: of a difference this large where nothing changed, this place alone.
        adjusted: the same, all tests counted in; 1 where there was no line to test.
        claimed: whether a change may be stated.
        named: whether this place was chosen beforehand (a bearing's or the drum's line).
        at_speeds: the same speed by speed.
    """

    measure: Measure
    band: Band | None
    order: float
    label: str
    family: str
    first_db: float
    second_db: float
    change_db: float | None
    low_db: float | None
    high_db: float | None
    confidence: float
    probability: float
    adjusted: float
    claimed: bool
    named: bool
    at_speeds: tuple[AtSpeed, ...] = ()


@dataclass(frozen=True, kw_only=True)
class AmplitudeChange:
    """One order of the shaking at one speed, in both acceleration logs.

    Attributes:
        order: 1 or 2.
        speed_rpm: of the first recording's plateau.
        first_m_s2, second_m_s2: peak acceleration, root sum of squares over the axes; None where
            it could not be measured.
        change_db, low_db, high_db, confidence, probability, adjusted, claimed: as in `LineChange`.
        reason: why nothing can be said; "" otherwise.
    """

    order: float
    speed_rpm: float
    first_m_s2: Estimate | None = None
    second_m_s2: Estimate | None = None
    change_db: float | None = None
    low_db: float | None = None
    high_db: float | None = None
    confidence: float = 0.95
    probability: float | None = None
    adjusted: float | None = None
    claimed: bool = False
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class SpeedChange:
    """Mean speed of one plateau in both recordings."""

    expected_rpm: float | None
    first_rpm: Estimate
    second_rpm: Estimate
    change_rpm: float
    standard_uncertainty_rpm: float
    probability: float
    adjusted: float
    claimed: bool


@dataclass(frozen=True, kw_only=True)
class StageRow:
    """One plateau side by side; None for a recording that has none."""

    speed_rpm: float
    expected_rpm: float | None
    stages: tuple[Stage | None, ...]


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What two recordings cannot tell: what, why, and what would."""

    what: str
    reason: str
    remedy: str = ""


@dataclass(frozen=True, kw_only=True)
class Statement:
    """One sentence of change, with its interval, and its direction (-1, 0, 1)."""

    sentence: str
    direction: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves:
    """Two spectra of the shared speeds, for drawing and for those who reckon on.

    Attributes:
        measure, band: which spectra.
        order: shape (n,).
        first_db, second_db: shape (n,), level over the own noise floor; nan where nothing is
            compared.
    """

    measure: Measure
    band: Band | None
    order: Array
    first_db: Array
    second_db: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """The first recording against another one.

    Attributes:
        first, second: places in the comparison's subjects.
        state: "attention" where a change is stated, "clear" where none is, "not measurable" where
            nothing could be compared.
        sentence: the outcome in one sentence.
        statements: every stated change.
        lines, amplitudes, speeds: every place compared, whether it changed or not.
        tests: tests corrected for together: places that hold a line, speeds, amplitudes.
        limits: what could not be compared.
        curves: the spectra.
    """

    first: int
    second: int
    state: State
    sentence: str
    statements: tuple[Statement, ...] = ()
    lines: tuple[LineChange, ...] = ()
    amplitudes: tuple[AmplitudeChange, ...] = ()
    speeds: tuple[SpeedChange, ...] = ()
    tests: int = 0
    limits: tuple[Limit, ...] = ()
    curves: tuple[Curves, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SharedSpeed:
    """A speed and the drum turns that each recording holds of it."""

    speed_rpm: float
    turns: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Subject:
    """One recording of a comparison."""

    file: str
    sha256: str
    kind: str
    duration_s: float
    state: State
    sentence: str
    top_speed_rpm: float | None
    top_speed_standard_uncertainty_rpm: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Two or more recordings, the first being what the others are held against.

    Attributes:
        subjects: the recordings in the order given.
        machine: name of the profile, "" if none was given.
        speeds: the speeds that any of them held.
        stages: their plateaus side by side.
        pairs: the first against each other one.
        same_place: whether the phone was taken to lie in the same place each time.
        state, sentence: the outcome over all pairs.
    """

    subjects: tuple[Subject, ...]
    machine: str
    speeds: tuple[SharedSpeed, ...]
    stages: tuple[StageRow, ...]
    pairs: tuple[Pair, ...]
    same_place: bool
    state: State
    sentence: str


def worst(states: Sequence[State]) -> State:
    """The state that stands for several: a change, else the lack of one, else no knowledge."""
    order: tuple[State, ...] = ("fault", "attention", "clear")
    return next((state for state in order if state in states), "not measurable")
