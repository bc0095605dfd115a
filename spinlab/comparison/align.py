"""Recordings laid beside each other by speed: which stretches of each ran equally fast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.orders import Span
from spinlab.recording import Gap
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.plateaus import plateau_spans

# Plateaus nearer than this to each other are the same one: programmes step by a fifth and more,
# and speeds are held to 3 % (common practice, no published source).
SAME_SPEED = 0.03
# Slower, a spin test does not spin: distribution runs at 60-100 rpm.
LEAST_RPM = 150.0


@dataclass(frozen=True, kw_only=True)
class SpeedBin:
    """One speed that was looked for in every recording.

    Attributes:
        speed_rpm: middle of the bin.
        spans: per recording, the stretches within `SAME_SPEED` of it.
        turns: per recording, drum turns in them.
    """

    speed_rpm: float
    spans: tuple[tuple[Span, ...], ...]
    turns: tuple[float, ...]

    def shared(self, first: int, second: int, *, least_turns: float) -> bool:
        """Whether both recordings hold enough of this speed."""
        return min(self.turns[first], self.turns[second]) >= least_turns


def speed_bins(
    tracks: Sequence[SpeedTrack],
    *,
    gaps: Sequence[Sequence[Gap]],
    least_turns: float,
) -> tuple[SpeedBin, ...]:
    """The speeds that any of the recordings held, slowest first.

    Args:
        tracks: one per recording; a relative one has no speed in rpm and takes no part.
        gaps: per recording, stretches to leave out.
        least_turns: shorter stretches are left out.
    """
    held = [
        span.speed_rpm
        for track in tracks
        if track.scale == "absolute"
        for span in plateau_spans(track)
        if span.speed_rpm >= LEAST_RPM
    ]
    bins = []
    for speed in _clusters(held):
        spans = tuple(
            _within(track, speed, gap, least_turns) for track, gap in zip(tracks, gaps, strict=True)
        )
        turns = tuple(
            sum(_turns(track, span) for span in own)
            for track, own in zip(tracks, spans, strict=True)
        )
        bins.append(SpeedBin(speed_rpm=speed, spans=spans, turns=turns))
    return tuple(bins)


def _clusters(speeds: Sequence[float]) -> list[float]:
    """Middles of groups of speeds; a new group begins where the next is too far from the first."""
    groups: list[list[float]] = []
    for speed in sorted(speeds):
        if groups and speed <= groups[-1][0] * (1.0 + SAME_SPEED):
            groups[-1].append(speed)
        else:
            groups.append([speed])
    return [float(np.mean(group)) for group in groups]


def _within(
    track: SpeedTrack, speed_rpm: float, gaps: Sequence[Gap], least_turns: float
) -> tuple[Span, ...]:
    if track.scale != "absolute":
        return ()
    near = np.abs(np.nan_to_num(track.speed_rpm) - speed_rpm) <= SAME_SPEED * speed_rpm
    near &= track.known
    for gap in gaps:
        near &= ~((track.time_s > gap.start_s) & (track.time_s < gap.end_s))
    return tuple(
        span
        for span in _runs(track.time_s, near)
        if span.end_s > span.start_s and _turns(track, span) >= least_turns
    )


def _runs(time_s: NDArray[np.float64], inside: NDArray[np.bool_]) -> list[Span]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    return [Span(float(time_s[a]), float(time_s[b - 1])) for a, b in edges.reshape(-1, 2)]


def _turns(track: SpeedTrack, span: Span) -> float:
    return float(np.diff(track.turns_at(np.array(span)))[0])
