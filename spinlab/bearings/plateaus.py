"""Blows put on the plateaus of a programme: where do they beat at a damage's rates, one by one?

Each frame of a band is silent or belongs to a plateau not slower than the one before.  The best way
through (Viterbi's search: Forney 1973, Proc. IEEE 61:268-278) is found in every band and for every
share by which the blows may be early or late; its rivals are what else the same band may hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

from spinlab.bearings.blows import Blows
from spinlab.bearings.geometry import SLIP_ABOVE, SLIP_BELOW
from spinlab.bearings.patterns import Pattern, harmonics_pattern

Array = NDArray[np.float64]
Float = NDArray[np.float32]

# How far all speeds together may lie from those asked for, beside what balls slip.
REACH = 0.02
STEP = 0.003
# Nats that a plateau costs, for it may begin and end at any time.
PLATEAU_NATS = 4.0
# Least nats in all, and at the plateau heard second best: what beats at one speed alone need not
# turn.  Of 246 tuning units that were sound, or damaged elsewhere, none came to 8 and 5.
LEAST_NATS = 12.0
LEAST_SECOND_NATS = 5.0
# Places looked at within a plateau (shares), and the frames over which they are averaged.
FINE_REACH = 0.012
FINE_STEP = 0.001
FINE_FRAMES = 5
# Bands are gone through together up to so many numbers, for the sake of memory.
MOST_CELLS = 6_000_000
# A place with those beside it.
_BESIDE = np.exp(STEP * np.arange(-1, 2))
# Other readings: a comb of any order from just below the drum's own in this range, of which the
# strongest are looked at that have so many nats less at most, each as wide as this.
LOWEST_ORDER, HIGHEST_ORDER = 0.9, 14.0
MOST_READINGS = 12
WORTH_NATS = 20.0
READING_WIDTH = 0.015
# Share of the frames that both have heard, put on other plateaus, that makes a reading another.
ELSEWHERE = 0.2


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """The lines of one kind of damage: its order, and its harmonics and sidebands."""

    order: float
    pattern: Pattern

    @property
    def orders(self) -> Array:
        """Shape (lines,), multiples of the drum's rate."""
        return np.asarray(self.pattern.multiple * self.order + self.pattern.offset)


_COMB = Lines(order=1.0, pattern=harmonics_pattern(4))


@dataclass(frozen=True, kw_only=True, eq=False)
class Way:
    """One way of putting the blows of a band on plateaus.

    Attributes:
        nats: what is heard along it, less what the plateaus cost.
        plateau: shape (frames,), number of the plateau, -1 where silent.
        each: shape (plateaus,), nats heard at each.
    """

    nats: float
    plateau: NDArray[np.int64]
    each: Array

    @property
    def second(self) -> float:
        """Nats of the plateau that is heard second best."""
        return float(np.sort(self.each)[-2]) if len(self.each) > 1 else 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """Blows of one kind of damage on the plateaus at which they are heard.

    Attributes:
        lines: of the damage.
        band: in which they are heard.
        way: frames and plateaus.
        log_late: shape (frames,), ln of the blows' rate over that of the damage at the speed
            asked for; of the plateau's frames.
        most_nats: the most that any reading of the band has which puts the drum at these speeds:
            a comb of its turns may be louder than the damage.
        rivals: nats of the readings that put it at others.
    """

    lines: Lines
    band: int
    way: Way
    log_late: Array
    most_nats: float
    rivals: tuple[float, ...]


def placed(blows: Blows, families: Sequence[Lines], asked_hz: Array) -> Placed | None:
    """The damage that is heard best at the plateaus asked for; None where none is at two.

    Args:
        blows: of the recording.
        families: of every damage looked for.
        asked_hz: shape (plateaus,), rates of the drum, rising.
    """
    logs = np.arange(-SLIP_BELOW - REACH, SLIP_ABOVE + REACH + 0.5 * STEP, STEP)
    lines, band, place = _loudest(blows, families, asked_hz, np.exp(logs))
    rates_hz = float(np.exp(logs[place])) * asked_hz
    evidence = blows.evidence(band)
    way = way_through(_at_plateaus(evidence, blows.bin_hz, lines, rates_hz, _BESIDE)[..., 1])
    if way.nats < LEAST_NATS or way.second < LEAST_SECOND_NATS:
        return None
    most_nats, rivals = _readings(evidence, blows.bin_hz, lines, rates_hz, way)
    return Placed(
        lines=lines,
        band=band,
        way=way,
        log_late=logs[place] + _fine_places(evidence, blows.bin_hz, lines, rates_hz, way),
        most_nats=most_nats,
        rivals=rivals,
    )


def _loudest(
    blows: Blows, families: Sequence[Lines], asked_hz: Array, scales: Array
) -> tuple[Lines, int, int]:
    """Which damage is heard best on the plateaus, in which band and at which scale."""
    best, most = (families[0], 0, 0), -np.inf
    bands = len(blows.envelopes.bands)
    size = max(1, MOST_CELLS // (len(blows.time_s) * len(asked_hz) * len(scales)))
    for first in range(0, bands, size):
        some = range(first, min(bands, first + size))
        heard = [blows.evidence(band) for band in some]
        for lines in families:
            rows = [_at_plateaus(row, blows.bin_hz, lines, asked_hz, scales) for row in heard]
            nats = _best_ways(np.stack(rows))
            if nats.max() > most:
                most = float(nats.max())
                band, place = np.unravel_index(int(np.argmax(nats)), nats.shape)
                best = (lines, first + int(band), int(place))
    return best


def _at_plateaus(
    evidence: Float, bin_hz: float, lines: Lines, rates_hz: Array, scales: Array
) -> Float:
    """Nats of a family at each plateau and scale, shape (frames, plateaus, scales)."""
    last = evidence.shape[1] - 1
    found = np.zeros((len(evidence), len(rates_hz), len(scales)), np.float32)
    for order in lines.orders:
        place = np.rint(order * rates_hz[:, None] * scales / bin_hz).astype(np.int64)
        found += np.where(place <= last, evidence[:, np.minimum(place, last)], np.float32(0.0))
    return maximum_filter1d(found, 3, axis=2)


def _best_ways(heard: Float) -> Float:
    """Nats of the best way through the plateaus, for every band and scale, shape (bands, scales).

    Args:
        heard: shape (bands, frames, plateaus, scales).
    """
    bands, frames, plateaus, scales = heard.shape
    on = np.full((bands, plateaus, scales), np.float32(-1e9))
    silent = np.full((bands, plateaus + 1, scales), np.float32(-1e9))
    silent[:, 0] = 0.0
    for frame in range(frames):
        begun = np.maximum.accumulate(silent, axis=1)[:, 1:] - np.float32(PLATEAU_NATS)
        np.maximum(silent[:, 1:], on, out=silent[:, 1:])
        np.maximum(on, begun, out=on)
        on += heard[:, frame]
    ways: Float = np.maximum(on.max(axis=1), silent.max(axis=1))
    return ways


def way_through(heard: Float) -> Way:
    """The best way through the plateaus of one band at one scale.

    Args:
        heard: shape (frames, plateaus), nats.
    """
    frames, plateaus = heard.shape
    on, silent = np.full(plateaus, -1e9), np.full(plateaus + 1, -1e9)
    silent[0] = 0.0
    begins, ends, whence = [], [], []
    for frame in range(frames):
        begun = np.maximum.accumulate(silent)[1:] - PLATEAU_NATS
        whence.append([int(np.argmax(silent[: k + 2])) for k in range(plateaus)])
        begins.append(begun > on)
        ends.append(on > silent[1:])
        silent[1:] = np.maximum(silent[1:], on)
        on = np.maximum(begun, on) + heard[frame]
    plateau = np.full(frames, -1, dtype=np.int64)
    turning = bool(on.max() > silent.max())
    state = int(np.argmax(on)) if turning else int(np.argmax(silent))
    for frame in range(frames - 1, -1, -1):
        if turning:
            plateau[frame] = state
            if begins[frame][state]:
                turning, state = False, whence[frame][state]
        elif state and ends[frame][state - 1]:
            turning, state = True, state - 1
    each = np.array([heard[plateau == k, k].sum() for k in range(plateaus)], float)
    return Way(nats=float(max(on.max(), silent.max())), plateau=plateau, each=each)


def _readings(
    evidence: Float, bin_hz: float, lines: Lines, rates_hz: Array, way: Way
) -> tuple[float, tuple[float, ...]]:
    """Other readings of the same band: the same lines on other plateaus, or a comb of any order.

    Returns:
        The most nats of any that puts the drum at the same speeds (the way itself among them), and
        the nats of those that put it at others.
    """
    apart = ~np.eye(len(rates_hz), dtype=bool)
    shifts = np.log((rates_hz[:, None] / rates_hz)[apart])
    shifts = np.unique(np.round(shifts, 2))[:, None] + STEP * np.arange(-3, 4)
    anything = np.arange(np.log(LOWEST_ORDER), np.log(HIGHEST_ORDER), STEP)
    most, rivals = way.nats, []
    for family, scales in ((lines, np.exp(shifts.ravel())), (_COMB, np.exp(anything))):
        heard = _at_plateaus(evidence, bin_hz, family, rates_hz, scales)
        nats = _best_ways(heard[None])[0]
        for _ in range(MOST_READINGS):
            place = int(np.argmax(nats))
            if nats[place] < way.nats - WORTH_NATS:
                break
            other = way_through(heard[..., place])
            nats[np.abs(np.log(scales / scales[place])) < READING_WIDTH] = -np.inf
            both = (other.plateau >= 0) & (way.plateau >= 0)
            elsewhere = both & (other.plateau != way.plateau)
            if elsewhere.sum() > ELSEWHERE * both.sum():
                rivals.append(other.nats)
            elif both.any():
                most = max(most, other.nats)
    return most, tuple(rivals)


def _fine_places(evidence: Float, bin_hz: float, lines: Lines, rates_hz: Array, way: Way) -> Array:
    """How early the blows are within their plateau, in ln of their rate, shape (frames,)."""
    logs = np.arange(-FINE_REACH, FINE_REACH + 0.5 * FINE_STEP, FINE_STEP)
    heard = _at_plateaus(evidence, bin_hz, lines, rates_hz, np.exp(logs))
    found = np.zeros(len(way.plateau))
    for number in np.unique(way.plateau[way.plateau >= 0]):
        frames = np.flatnonzero(way.plateau == number)
        for piece in np.split(frames, np.flatnonzero(np.diff(frames) > 1) + 1):
            smooth = uniform_filter1d(heard[piece, number], FINE_FRAMES, axis=0, mode="nearest")
            best = logs[np.argmax(smooth, axis=1)]
            found[piece] = median_filter(best, FINE_FRAMES, mode="nearest")
    return found
