"""A baseline and what a new unit looks like against it, as frozen values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.comparison.value import Limit, Measure, Statement
from spinlab.envelope.kurtosis import Band
from spinlab.finding import State
from spinlab.recording import Kind

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Where:
    """One kind of spectrum at one speed.

    Attributes:
        speed_rpm: of the drum.
        measure: "envelope" or "signal"; of an acceleration log, "signal" is the amplitude of an
            order in dB re 1 m/s2 instead of a level over the noise floor.
        band: the envelope's band; None for the signal itself.
    """

    speed_rpm: float
    measure: Measure
    band: Band | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Reference:
    """What good units show at one speed in one kind of spectrum.

    Attributes:
        where: which.
        count: good recordings that hold this speed.
        order: shape (n,), middles of the places.
        middle_db: shape (n,), median over the recordings.
        spread_db: shape (n,), robust standard deviation from unit to unit, moderated.
    """

    where: Where
    count: int
    order: Array
    middle_db: Array
    spread_db: Array


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """One good recording held against a baseline of the others.

    Attributes:
        file: its name.
        outside_share: share of its places outside the 95 % band; one in twenty is expected.
        departs: whether a departure would have been stated.
    """

    file: str
    outside_share: float
    departs: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Baseline:
    """A reference made of good recordings.

    Attributes:
        machine: name of their profile, "" if none was given.
        kind: "sound" or "acceleration".
        rate_hz: sample rate at which sound is compared.
        recordings: file names and hashes of what it was made of.
        references: per speed and spectrum.
        left_out: the leave-one-out check.
    """

    machine: str
    kind: Kind
    rate_hz: float
    recordings: Mapping[str, str]
    references: tuple[Reference, ...]
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, kw_only=True)
class Place:
    """One place of a new unit's spectra against the good ones'.

    Attributes:
        where, order, label: which place, and what is known to stand there.
        level_db: of the new unit.
        middle_db, low_db, high_db: the good units' 95 % band for one more unit.
        probability, adjusted: of a good unit this far above, alone and with all places counted in.
        departs: whether it may be stated.
    """

    where: Where
    order: float
    label: str
    level_db: float
    middle_db: float
    low_db: float
    high_db: float
    probability: float
    adjusted: float = 1.0
    departs: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Held:
    """A new unit held against a baseline.

    Attributes:
        file, sha256: the recording.
        state: "attention" where it departs, "clear" where it does not, "not measurable" where
            nothing could be held against the baseline.
        sentence: the outcome.
        statements: every stated departure.
        places: all places.
        outside_share: share of places outside the 95 % band; None where there are none.
        limits: what could not be held against it.
    """

    file: str
    sha256: str
    state: State
    sentence: str
    statements: tuple[Statement, ...] = ()
    places: tuple[Place, ...] = ()
    outside_share: float | None = None
    limits: tuple[Limit, ...] = ()
