"""Pieces that are bursts of one motion: alike in length and colour, in a rhythm, without a hum.

Water that falls back between two slaps can split a burst, and so can a change of its colour.  How
far apart two pieces of one burst may lie is not known before: the grouping whose bursts make the
better rhythm of more of what is heard is taken.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.phases.features import FRAME_S, Features, mains_excess_db, standing_lines
from spinlab.phases.motion import is_pattern, rhythm
from spinlab.recording import Recording

Span = tuple[int, int]  # first and past-the-end frame

HOLES_S = (0.0, 0.1, 1.1, 2.1)  # pieces that touch kept apart, joined, and over one or two seconds
SAME_COLOUR_DB = 4.0  # RMS over the bands: bursts of one motion differ by less
# Speech and handling come in bursts too, but not in a rhythm.
LEAST_RHYTHM = 0.6
LONGEST_BURST = 1.6  # of the usual burst; a longer piece holds something else as well
# Standing tones of the mains say pump: a burst that has so much more of them than the usual one
# (sum of their excess over the noise around) is none.
MOST_MAINS_DB = 25.0


def row_of_bursts(recording: Recording, features: Features, loud: list[Span]) -> list[Span]:
    """Those of one row's pieces, joined where need be, that are bursts alike; none if no pattern.

    Args:
        recording: what the features were taken from.
        features: of the whole recording.
        loud: pieces in time order.
    """
    best: list[Span] = []
    most = 0.0
    for hole_s in HOLES_S:
        row = _without_hum(recording, features, _alike(features, _joined(loud, hole_s)))
        spans = [times(features, span) for span in row]
        score = rhythm(spans) * sum(last - first for first, last in row)
        regular = rhythm(spans) >= LEAST_RHYTHM and (is_pattern(spans) or _nearly(spans))
        if regular and score > most:
            best, most = row, score
    return best


def times(features: Features, span: Span) -> tuple[float, float]:
    """Edges of a range of frames, s."""
    return _edge(features, span[0]), _edge(features, span[1])


def _edge(features: Features, frame: int) -> float:
    """Time between a frame and the one before."""
    if frame == 0:
        return float(features.time_s[0] - FRAME_S / 2)
    if frame == len(features.time_s):
        return float(features.time_s[-1] + FRAME_S / 2)
    return float(0.5 * (features.time_s[frame - 1] + features.time_s[frame]))


def _joined(loud: list[Span], hole_s: float) -> list[Span]:
    out: list[Span] = []
    for first, last in loud:
        if out and (first - out[-1][1]) * FRAME_S < hole_s:
            out[-1] = (out[-1][0], last)
        else:
            out.append((first, last))
    return out


def _alike(features: Features, pieces: list[Span]) -> list[Span]:
    """Pieces neither much longer nor much shorter than the usual one, and of its colour."""
    if len(pieces) < 3:
        return []
    lengths = np.array([last - first for first, last in pieces])
    usual = float(np.median(lengths))
    colours = np.array([np.median(features.band_db[:, a:b], axis=1) for a, b in pieces])
    apart = _apart(colours)
    most = max(SAME_COLOUR_DB, 2.5 * float(np.median(apart)))
    return [
        piece
        for piece, length, off in zip(pieces, lengths, apart, strict=True)
        if off < most and 0.4 * usual < length < LONGEST_BURST * usual
    ]


def _apart(colours: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far the band levels of each piece are from the usual piece's, its loudness aside, dB."""
    colours = colours - colours.mean(axis=1, keepdims=True)
    return np.asarray(np.sqrt(np.mean((colours - np.median(colours, axis=0)) ** 2, axis=1)))


def _without_hum(recording: Recording, features: Features, row: list[Span]) -> list[Span]:
    if recording.kind != "sound" or len(row) < 3:
        return row
    hums = np.array(
        [mains_excess_db(standing_lines(recording, *times(features, span))) for span in row]
    )
    most = float(np.median(hums)) + MOST_MAINS_DB
    return [span for span, hum in zip(row, hums, strict=True) if hum <= most]


def _nearly(row: list[tuple[float, float]]) -> bool:
    """A row whose last burst runs into the next phase without a pause still is a pattern."""
    return len(row) > 3 and (is_pattern(row[:-1]) or is_pattern(row[1:]))
