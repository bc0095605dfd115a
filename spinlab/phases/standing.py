"""Unlabelled pieces told apart by standing tones, colour and steadiness: pump, fill or neither."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.finding import Cause
from spinlab.phases.features import Features, mains_excess_db, standing_lines
from spinlab.phases.fill import LEAST_SHARE, UNTRACKED
from spinlab.phases.pump import NOISE_ABOVE_HZ, PIECE_S, swing
from spinlab.phases.value import Phase
from spinlab.recording import Recording
from spinlab.vibration.loudness import Loudness

# A pump or valve that runs for less does nothing; common practice, no published source.
SHORTEST_RUN_S = 4.0
# Water runs through a valve at one pressure, and its hiss keeps its level; a pump gurgles, all the
# more when it draws air.  Swing of the noise where both are as likely, and the step of the odds.
GURGLE_DB = 1.8
GURGLE_STEP_DB = 0.2
_EDGE_S = 0.5


def standing(
    recording: Recording, features: Features, sound: Loudness | None, base: Phase
) -> Phase:
    """Pump, fill or not identified, by standing tones, colour and steadiness.

    A single unsteady piece is no wash motion, which shows by its rhythm alone.
    """
    lines = standing_lines(recording, base.start_s, base.end_s)
    tones = tuple(round(f, 2) for f, _ in lines[:5])
    inside = (features.time_s > base.start_s) & (features.time_s < base.end_s)
    steady = float(np.median(features.steadiness_db[inside])) < 2.0
    long = base.duration_s >= 6.0
    score = {"pump": 0.15, "fill": 0.1, "wash motion": 0.15, "spin": 0.15, "other": 0.3}
    if recording.kind == "sound":
        mains = mains_excess_db(lines)
        # A pump hums and gurgles below 1.2 kHz, a valve hisses above it (its coil may hum too).
        hissing = 1.0 / (1.0 + np.exp(-0.5 * _hiss_db(features, inside)))
        hissing *= 1.0 - _gurgling(sound, base)
        # Air that it draws makes a pump unsteady, its tones stand all the same.
        score["pump"] += (1.0 - hissing) * min(mains / 12.0, 3.0) * (1.0 if steady else 0.8)
        score["fill"] += hissing * (1.5 + min(mains / 24.0, 1.0)) * (1.0 if steady else 0.0)
    else:
        strong = sum(excess for _, excess in lines[:3])
        score["pump"] += min(strong / 15.0, 3.0) * (1.0 if long else 0.3)
        score["spin"] += 0.5 * min(strong / 15.0, 3.0)
    if not steady:
        score["wash motion"] += 0.5
    total = sum(score.values())
    best = max(score, key=lambda name: score[name])
    rivals = tuple(
        Cause(cause=name, probability=round(float(value / total), 2))
        for name, value in sorted(score.items(), key=lambda item: -item[1])
        if name != best and value / total > 0.1
    )
    share = score[best] / total
    if best in ("pump", "fill") and base.duration_s < SHORTEST_RUN_S:
        best, share = "other", 0.3
    if best in ("other", "spin", "wash motion") or share < LEAST_SHARE:
        return replace(
            base,
            confidence=max(1.0 - share, 0.3),
            rivals=rivals,
            lines_hz=tones,
            evidence=UNTRACKED,
        )
    said = {"pump": "tones that stand still", "fill": "steady hiss"}
    if best == "pump" and recording.kind == "acceleration":
        said["pump"] += "; a turning drum beside it would need an order that moves, and none shows"
    return replace(
        base,
        label=best,  # type: ignore[arg-type]
        confidence=share,
        rivals=rivals,
        lines_hz=tones,
        evidence=said[best],
    )


def _hiss_db(features: Features, inside: NDArray[np.bool_]) -> float:
    """Level above 1.2 kHz over that below, dB: a valve hisses."""
    power = 10.0 ** (0.1 * np.median(features.band_db[:, inside], axis=1))
    high = power[features.bands_hz[:, 0] >= 1200.0].sum()
    low = power[features.bands_hz[:, 0] < 1200.0].sum()
    return float(10.0 * np.log10((high + 1e-16) / (low + 1e-16)))


def _gurgling(sound: Loudness | None, phase: Phase) -> float:
    """How likely the noise gurgles rather than hisses, 0 to 1; 0 where the piece is too short."""
    if sound is None or phase.duration_s - 2.0 * _EDGE_S < PIECE_S:
        return 0.0
    start, end = phase.start_s + _EDGE_S, phase.end_s - _EDGE_S
    inside = np.flatnonzero((sound.time_s >= start) & (sound.time_s < end))
    rows = sound.bands_hz[:, 0] >= NOISE_ABOVE_HZ
    if not rows.any():
        return 0.0
    series, _ = swing(sound, inside)
    swings_db = float(series[rows].std(axis=1).mean())
    return float(1.0 / (1.0 + np.exp(-(swings_db - GURGLE_DB) / GURGLE_STEP_DB)))
