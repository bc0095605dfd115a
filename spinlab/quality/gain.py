"""Automatic gain control, told by what no machine does: getting quieter because of a knock.

When a loud sound sets in, a gain control turns everything down, so bands that the sound does not
reach fall together just then.  The fall is measured at every onset and held against the same
measure at other moments of the same recording, so ordinary changes do not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.quality.frames import Frames

# An onset rises so far above the half second before it, and must stand alone.
_ONSET_DB = 10.0
_BEFORE_S = (0.55, 0.05)
_AFTER_S = (0.30, 0.80)  # a knock has died away by then; a gain control has not recovered
_FEWEST_ONSETS = 3
_MOST_ONSETS = 100
# Of the bands, the upper quartile of the falls counts: the rest may be reached by the sound.
_BANDS_QUANTILE = 0.75
_SMALLEST_SWING_DB = 2.0
_LIVELIEST_DB = -75.0  # below this a band holds only the floor of the file itself


@dataclass(frozen=True, kw_only=True)
class Gain:
    """Size of the gain's changes in dB, 0 if none was seen, None if it could not be told."""

    swing_db: float | None
    evidence: str


def gain_changes(frames: Frames) -> Gain:
    """Automatic gain changes of a sound."""
    level = 10 * np.log10(np.maximum(frames.band_power, 1e-20))
    level = level[np.median(level, axis=1) > _LIVELIEST_DB]
    if len(level) < 3:
        return Gain(swing_db=None, evidence="too few bands stand clear of the file's own floor")
    onsets = _onsets(frames)
    if len(onsets) < _FEWEST_ONSETS:
        return Gain(
            swing_db=None,
            evidence=say(
                "{onsets} sudden onsets; at least {fewest_onsets} are needed to tell",
                onsets=len(onsets),
                fewest_onsets=_FEWEST_ONSETS,
            ),
        )
    falls = np.array([_fall(level, onset, frames.step_s) for onset in onsets])
    control = _control(level, onsets, frames.step_s)
    swing = float(np.median(falls))
    usual = float(np.quantile(control, 0.9)) if len(control) else 0.0
    if swing < _SMALLEST_SWING_DB + max(0.0, usual):
        return Gain(
            swing_db=0.0,
            evidence=say("no common fall of the background at {onsets} onsets", onsets=len(onsets)),
        )
    return Gain(
        swing_db=swing,
        evidence=say(
            "after {onsets} sudden onsets the background falls by {swing:.1f} dB "
            "(other moments: below {usual:.1f} dB)",
            onsets=len(onsets),
            swing=swing,
            usual=usual,
        ),
    )


def _reach_frames(step_s: float) -> tuple[int, int, int, int]:
    first, last, start, end = (round(t / step_s) for t in (*_BEFORE_S, *_AFTER_S))
    return first, last, start, end


def _onsets(frames: Frames) -> NDArray[np.intp]:
    """Frames at which the sum over all bands leaps up, each alone within the measure's reach."""
    from scipy.ndimage import median_filter

    total = 10 * np.log10(np.maximum(frames.band_power.sum(axis=0), 1e-20))
    before, _, _, after = _reach_frames(frames.step_s)
    if len(total) < 2 * (before + after):
        return np.zeros(0, dtype=np.intp)
    usual = median_filter(total, size=before | 1, mode="nearest")
    usual = np.concatenate([np.full(before // 2, usual[0]), usual[: -(before // 2)]])
    loud = total > usual + _ONSET_DB
    rises = np.flatnonzero(loud[1:] & ~loud[:-1]) + 1
    alone = np.diff(np.concatenate([[-after], rises])) >= before
    alone &= np.diff(np.concatenate([rises, [len(total) + after]])) >= after
    rises = rises[alone & (rises >= before) & (rises + after <= len(total))]
    return rises[:: max(1, len(rises) // _MOST_ONSETS)]


def _fall(level: NDArray[np.floating], onset: int, step_s: float) -> float:
    """How far the background bands fall at one moment, in dB."""
    first, last, start, end = _reach_frames(step_s)
    before = np.median(level[:, onset - first : onset - last], axis=1)
    after = np.median(level[:, onset + start : onset + end], axis=1)
    return float(np.quantile(before - after, _BANDS_QUANTILE))


def _control(
    level: NDArray[np.floating], onsets: NDArray[np.intp], step_s: float
) -> NDArray[np.float64]:
    """The same fall at evenly spread moments without an onset."""
    first, _, _, end = _reach_frames(step_s)
    moments = np.linspace(first, level.shape[1] - end, 200).astype(int)
    distance = np.abs(moments[:, None] - onsets[None, :]).min(axis=1)
    quiet = moments[distance > first + end]
    return np.array([_fall(level, int(moment), step_s) for moment in quiet])
