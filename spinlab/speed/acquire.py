"""Acquisition: from maps to a course of whatever moves, on the coarse grid.

Two starting points, drum orders with beats and any line with its double, are each refined by
learning their family of lines; the one whose family explains more is kept.  Neither needs to know
which order it follows: the scale is decided afterwards, on finer evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import SOUND_BANDS
from spinlab.speed.evidence import Floats
from spinlab.speed.family import Family, family_map, learn, of_drum, rebased
from spinlab.speed.family_voice import FamilyVoice
from spinlab.speed.frames import CACHED_FRAMES, blocks
from spinlab.speed.maps import Maps
from spinlab.speed.path import SILENCE_COST, Path, best_path
from spinlab.speed.relink import relinked
from spinlab.speed.voices import (
    DRUM_SHARE,
    LOWEST_SEED_HZ,
    NO_LINE,
    Evidence,
    Values,
    centre,
    moving,
    remembered,
)

ROUNDS = 4
# A further round of learning must raise the score by this factor to be worth another.
LEAST_GAIN = 1.02


@dataclass(frozen=True, kw_only=True, eq=False)
class Acquired:
    """A path of whatever moves, and its family."""

    path: Path
    family: Family


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """Paths that were searched for, lest it be done again: several starts end in one family.

    Attributes:
        families: for a family (with beats or without, offsets, shares) its path, and the same
            with wrong orders moved.
        drum: the path of the drum alone in everything that is heard, once there is one.
    """

    families: dict[tuple[bool, bytes, bytes], tuple[Path, Path]] = field(default_factory=dict)
    drum: list[Path] = field(default_factory=list)


def _follow(values: Values, evidence: Evidence, *, first: int = 0, last: int | None = None) -> Path:
    """The best path through values, under the agreement of all lines on the chirp rate.

    Args:
        values: what is followed.
        evidence: from `gather`.
        first, last: the cells that hold the path.
    """
    maps = evidence.maps
    parts = (
        values(block)[..., first:last] + evidence.votes(block)
        for block in blocks(len(maps.time_s), CACHED_FRAMES)
    )
    path = best_path(parts, maps.alphas, step=maps.grid.step, hop_s=maps.hop_s)
    return replace(path, cell=np.where(path.cell >= 0, path.cell + first, -1))


def _along(path: Path, values: Values, maps: Maps) -> Floats:
    """Evidence at the path's chirp rates, shape (frames, cells)."""
    return np.concatenate(
        [
            (part := values(block))[np.arange(len(part)), path.alpha[block]]
            for block in blocks(len(maps.time_s), CACHED_FRAMES)
        ]
    )


def _followed(voice: FamilyVoice, known: Known) -> tuple[Path, Path]:
    """The best path of a family, and the same with wrong orders moved; `known` from before."""
    key = voice.beats, voice.family.offsets.tobytes(), voice.family.shares.tobytes()
    if key not in known.families:
        path = _follow(voice, voice.evidence)
        joined = relinked(path, voice.along(path), voice.family, voice.evidence.maps)
        known.families[key] = path, joined
    return known.families[key]


def _learned(
    path: Path, evidence: Evidence, seen: Evidence, known: Known, *, as_drum: bool
) -> tuple[Path, Family]:
    """Learn the family of a path from what moves, and track it in everything that is heard.

    Until the score no longer rises.
    """
    maps = evidence.maps
    family = learn(path, maps, seen.stands)
    best: tuple[Path, Family] | None = None
    least = 0.0
    for _ in range(ROUNDS):
        if not len(family.offsets):
            break
        if not as_drum:
            path, family = rebased(path, family)
        path, joined = _followed(FamilyVoice.of(family, evidence, as_drum=as_drum), known)
        moved = bool((joined.cell[joined.cell >= 0] != path.cell[joined.cell >= 0]).any())
        path = joined
        if best and not moved and path.score <= least:
            break
        best = (path, family)
        # the score of a path that had to be moved is not its own
        least = 0.0 if moved else path.score * LEAST_GAIN
        family = learn(path, maps, seen.stands)
    return best or (path, family)


# Cells about a known course that stay open to a path, and the nats per frame that leaving it costs.
KNOWN_REACH = 4
KNOWN_NATS = np.float32(8.0)


def track_drum(
    family: Family,
    evidence: Evidence,
    known: tuple[NDArray[np.int64], NDArray[np.int64]],
) -> Path:
    """The drum's path, once the orders of its family are known.

    Args:
        family: offsets from the drum's own rate.
        evidence: from `gather`.
        known: frames in which the drum's cell is known already, and that cell.
    """
    maps = evidence.maps
    if evidence.first_order_felt:
        return _follow(evidence.as_drum, evidence)
    lowest = maps.grid.cell_of(maps.lowest_tone_hz)

    def values(block: slice) -> Floats:
        lines = evidence.lines(block)
        out = evidence.beat(block) + np.float32(DRUM_SHARE) * evidence.drum(lines)
        if len(family.offsets):
            out += centre(
                family_map(family, lines, maps.grid, count=evidence.count, lowest=lowest), 0
            )
        inside = (known[0] >= block.start) & (known[0] < block.stop)
        for frame, cell in zip(known[0][inside] - block.start, known[1][inside], strict=True):
            out[frame, :, : max(0, cell - KNOWN_REACH)] -= KNOWN_NATS
            out[frame, :, cell + KNOWN_REACH + 1 :] -= KNOWN_NATS
        return out

    once = remembered(values, len(evidence.maps.time_s))
    path = _follow(once, evidence)
    return relinked(path, _along(path, once, evidence.maps), family, evidence.maps)


def acquire(evidence: Evidence, known: Known) -> tuple[Acquired, ...]:
    """Paths of whatever moves, best first; empty if nothing does.

    Args:
        evidence: from `gather`.
        known: what was searched for is noted there.
    """
    if evidence.first_order_felt:
        path = _follow(evidence.as_drum, evidence)
        if not (path.cell >= 0).any():
            return ()
        family = learn(path, evidence.maps)
        return (Acquired(path=path, family=family),)
    seen = moving(evidence)
    found = _from_seeds(seen, evidence, seen, known)
    if max((a.path.score for a in found), default=0.0) < ENOUGH:
        # short ramps of faint lines need their plateaus to be found at all
        found += _from_seeds(evidence, evidence, seen, known)
    found.sort(key=lambda a: -a.path.score)
    apart: list[Acquired] = []
    for one in found:
        worth = one.path.score > WORTH_READING * found[0].path.score
        if worth and not any(_same_course(one.path, other.path) for other in apart):
            apart.append(one)
    return tuple(apart)


# A path found from what moves alone that explains less than this is not relied on.
ENOUGH = 600.0
# Paths that explain less than this share of what the best one does are not looked at further.
WORTH_READING = 0.5
# Two paths are one course if this share of what the lesser has heard lies, up to one factor, within
# so many cells of the other.
SAME_SHARE = 0.9
SAME_CELLS = 2


def _same_course(one: Path, other: Path) -> bool:
    """Whether a path tells nothing that another does not, but for the order that it follows."""
    heard = one.cell >= 0
    both = heard & (other.cell >= 0)
    if not both.any():
        return False
    apart = (one.cell - other.cell)[both]
    near = np.abs(apart - np.median(apart)) <= SAME_CELLS
    return bool(near.sum() >= SAME_SHARE * heard.sum())


def _from_seeds(seed: Evidence, evidence: Evidence, seen: Evidence, known: Known) -> list[Acquired]:
    """Paths that start as the drum with its beats, and as any line with its double.

    Learning a family ends in the best one near its start, so lines start twice: wherever they are
    loudest, and above the hum and the drum's own noise.
    """
    grid = seed.maps.grid
    higher = slice(*(grid.cell_of(hz) for hz in HIGHER_HZ))
    starts = (
        _drum_alone(seed, known) if seed is evidence else _follow(seed.as_drum, seed),
        _line_within(slice(grid.cell_of(LOWEST_SEED_HZ), grid.count), seed),
        _line_within(higher, seed),
    )
    found: list[Acquired] = []
    for as_drum, start in zip((True, False, False), starts, strict=True):
        if not (start.cell >= 0).any():
            continue
        path, family = _learned(start, evidence, seen, known, as_drum=as_drum)
        if as_drum or len(family.offsets):
            found.append(Acquired(path=path, family=family))
    return found


def _drum_alone(evidence: Evidence, known: Known) -> Path:
    """The path of the drum's own orders and beats by themselves, in everything that is heard."""
    if not known.drum:
        known.drum.append(_follow(evidence.as_drum, evidence))
    return known.drum[0]


def along_the_drum(
    evidence: Evidence, found: tuple[Acquired, ...], known: Known
) -> tuple[Acquired, ...]:
    """The path of the drum's own orders and beats by themselves, unless it was found already.

    Where other orders are heard on every plateau, no family can be learned.

    Args:
        evidence: from `gather`.
        found: from `acquire`.
        known: the same as for `acquire`.
    """
    path = _drum_alone(evidence, known)
    if not (path.cell >= 0).any() or any(_same_course(path, one.path) for one in found):
        return ()
    family = of_drum(learn(path, evidence.maps), evidence.maps.grid.step)
    return (Acquired(path=path, family=family),)


# The middle one of the tone bands.
HIGHER_HZ = (SOUND_BANDS[0][0], SOUND_BANDS[1][0])


# Frames for which a path may follow no line before it would rather be silent.
FOLLOWS_NOTHING = int(2 * SILENCE_COST / -NO_LINE)


def _line_within(cells: slice, evidence: Evidence) -> Path:
    """The best path of any line with its double within some cells.

    Outside them no line is looked for, and what follows none loses as much as two changes between
    heard and not heard cost after `FOLLOWS_NOTHING` frames; so no path gets farther from them, at
    the fastest chirp rate, than there and back in that time.  What lies beyond is not searched.
    """
    maps = evidence.maps
    fastest = int(np.ceil(np.abs(maps.alphas).max() * maps.hop_s / maps.grid.step)) + 1
    reach = fastest * (FOLLOWS_NOTHING + 1) // 2

    def values(block: slice) -> Floats:
        out = evidence.as_line(block)
        out[..., : cells.start] = out[..., cells.stop :] = NO_LINE
        return out

    first, last = max(0, cells.start - reach), cells.stop + reach
    return _follow(values, evidence, first=first, last=last)
