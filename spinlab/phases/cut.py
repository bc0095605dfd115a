"""From features and speed track to labelled phases with confidence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.finding import Cause
from spinlab.phases.clicks import clicks
from spinlab.phases.features import (
    FRAME_S,
    Features,
    log_features,
    sound_features,
    standing_lines,
)
from spinlab.phases.fill import LEAST_SHARE, UNTRACKED, maybe_spin, steady_fill
from spinlab.phases.motion import is_pattern, motion_pattern, rhythm
from spinlab.phases.pump import with_pump_sound
from spinlab.phases.segment import active_frames, runs, split
from spinlab.phases.settle import TRACKED, absorbed, continued, drained, joined, unsure_beside_spin
from spinlab.phases.value import MotionPattern, Phase, PhaseList
from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.loudness import Loudness

SPIN_RPM = 150.0
LEAST_SPIN_S = 3.0
SAME_COLOUR_DB = 4.0  # RMS over the bands: bursts of one motion differ by less
# A pump or valve that runs for less does nothing; common practice, no published source.
SHORTEST_RUN_S = 4.0
# Speech and handling come in bursts too, but not in a rhythm.
LEAST_RHYTHM = 0.6
SUREST_RHYTHM = 0.95
LONGEST_BURST = 1.6  # of the usual burst; a longer piece holds something else as well
SURE_FRAME = 0.5  # confidence a track's frame needs before it cuts a phase


def cut_phases(
    recording: Recording, track: SpeedTrack | None = None, *, sound: Loudness | None = None
) -> PhaseList:
    """Cut a recording of a service test into labelled phases.

    Args:
        recording: sound or acceleration.
        track: the drum's speed, if it could be tracked; it decides where the spin is.
        sound: band powers, if they are at hand already.
    """
    if recording.kind == "sound":
        from spinlab.vibration.loudness import loudness

        sound = sound or loudness(recording)
        features = sound_features(sound) if len(sound.time_s) else None
    else:
        features = log_features(recording)
    if features is None or len(features.time_s) < 4:
        return PhaseList(reason="the recording is shorter than two seconds")
    turning = _turning(features, track)
    active = active_frames(features, recording.kind)
    pieces = _pieces(features, active, turning)
    bursts = _bursts(features, pieces)
    phases = [_label(recording, features, piece, track, bursts) for piece in pieces]
    if not any(phase.label == "spin" for phase in phases):
        phases = [maybe_spin(phase) for phase in phases]
    phases = continued(absorbed(joined(unsure_beside_spin(phases))))
    phases = joined([steady_fill(phase, features) for phase in phases])
    wash = [(p.start_s, p.end_s) for p in phases if p.label == "wash motion"]
    motion = MotionPattern()
    if wash:
        motion = motion_pattern(features, wash, sound=sound, track=track)
    if sound is not None:
        phases = [with_pump_sound(phase, sound) for phase in phases]
    return PhaseList(
        phases=tuple(phases),
        motion=motion,
        clicks_s=_outside_spin(clicks(sound), phases) if sound is not None else (),
        drained_before_spin=drained(phases),
    )


Piece = tuple[int, int, str]


def _turning(features: Features, track: SpeedTrack | None) -> NDArray[np.str_]:
    """What the track says of each frame: spin, distribution, coast-down, wash motion, or ""."""
    said = np.full(len(features.time_s), "", dtype="<U16")
    if track is None or len(track.time_s) < 2 or track.scale == "relative":
        return said
    index = np.clip(np.searchsorted(track.time_s, features.time_s), 0, len(track.time_s) - 1)
    speed = np.nan_to_num(track.speed_rpm[index])
    motion, sure = track.motion[index], track.confidence[index] >= SURE_FRAME
    said[sure & (motion == "tumbling")] = "wash motion"
    said[sure & (motion == "distribution")] = "distribution"
    said[sure & (speed >= SPIN_RPM) & np.isin(motion, ("ramp", "plateau"))] = "spin"
    said[sure & (motion == "coasting")] = "coast-down"
    for first, last in runs(said == "spin"):
        if (last - first) * FRAME_S < LEAST_SPIN_S:
            said[first:last] = ""
    return said


def _pieces(
    features: Features, active: NDArray[np.bool_], turning: NDArray[np.str_]
) -> list[Piece]:
    """Frame ranges with what the track says of them, "quiet", or "" for the rest, in order."""
    pieces: list[Piece] = []
    for said in ("spin", "distribution", "coast-down", "wash motion"):
        pieces += [(a, b, said) for a, b in runs(turning == said)]
    free = turning == ""
    pieces += [(a, b, "quiet") for a, b in runs(free & ~active)]
    for a, b in runs(free & active):
        pieces += [(c, d, "") for c, d in split(features, a, b)]
    return sorted(pieces)


def _bursts(features: Features, pieces: list[Piece]) -> list[tuple[float, float]]:
    """Unlabelled pieces that form rows of bursts, as times.

    A row ends where the drum spins: what is loud between two spins, or in a hole of the speed
    track, is no burst of a motion before them.
    """
    rows: list[list[tuple[int, int]]] = [[]]
    for a, b, said in pieces:
        if said in ("spin", "coast-down"):
            rows.append([])
        elif said in ("", "wash motion"):
            rows[-1].append((a, b))
    return [span for loud in rows for span in _row_of_bursts(features, loud)]


def _row_of_bursts(features: Features, loud: list[tuple[int, int]]) -> list[tuple[float, float]]:
    """The pieces of one row that are bursts alike, as times; none where they make no pattern."""
    spans = [(_start(features, a), _end(features, b)) for a, b in loud]
    # The longest row of alike bursts: pieces much longer than the median are something else.
    if len(spans) < 3:
        return []
    lengths = np.array([end - start for start, end in spans])
    usual = float(np.median(lengths))
    alike = _alike_in_colour(features, loud)
    row = [
        span
        for span, n, same in zip(spans, lengths, alike, strict=True)
        if same and 0.4 * usual < n < LONGEST_BURST * usual
    ]
    if rhythm(row) < LEAST_RHYTHM:
        return []
    return row if is_pattern(row) or _nearly(row) else []


def _alike_in_colour(features: Features, pieces: list[tuple[int, int]]) -> list[bool]:
    """Whether each piece has the band levels of the usual piece, its loudness aside."""
    colours = np.array([np.median(features.band_db[:, a:b], axis=1) for a, b in pieces])
    colours -= colours.mean(axis=1, keepdims=True)
    usual = np.median(colours, axis=0)
    apart = np.sqrt(np.mean((colours - usual) ** 2, axis=1))
    return [bool(d < max(SAME_COLOUR_DB, 2.5 * float(np.median(apart)))) for d in apart]


def _nearly(row: list[tuple[float, float]]) -> bool:
    """A row whose last burst runs into the next phase without a pause still is a pattern."""
    return len(row) > 3 and (is_pattern(row[:-1]) or is_pattern(row[1:]))


def _start(features: Features, frame: int) -> float:
    """Edge between a frame and the one before."""
    if frame == 0:
        return float(features.time_s[0] - FRAME_S / 2)
    return float(0.5 * (features.time_s[frame - 1] + features.time_s[frame]))


def _end(features: Features, frame: int) -> float:
    if frame == len(features.time_s):
        return float(features.time_s[-1] + FRAME_S / 2)
    return _start(features, frame)


def _label(
    recording: Recording,
    features: Features,
    piece: Piece,
    track: SpeedTrack | None,
    bursts: list[tuple[float, float]],
) -> Phase:
    first, last, said = piece
    start, end = _start(features, first), _end(features, last)
    base = Phase(label="running, not identified", start_s=start, end_s=end, confidence=0.5)
    if said == "quiet":
        return replace(base, label="quiet", confidence=0.95, evidence="nothing runs")
    if said:
        confidence = 0.9
        if track is not None:
            inside = (track.time_s >= start) & (track.time_s <= end)
            confidence = float(np.mean(track.confidence[inside])) if inside.any() else 0.9
        return replace(
            base,
            label=said,  # type: ignore[arg-type]
            confidence=confidence,
            evidence=TRACKED,
        )
    if (start, end) in bursts:
        regular = SUREST_RHYTHM * rhythm(bursts)
        return replace(
            base,
            label="wash motion",
            confidence=round(regular, 2),
            rivals=(
                Cause(
                    cause="another part switched on and off in a rhythm",
                    probability=round(1.0 - regular, 2),
                ),
            ),
            evidence=say(
                "one of {bursts} bursts of about equal length with pauses between",
                bursts=len(bursts),
            ),
        )
    return _standing(recording, features, base, first, last)


def _standing(
    recording: Recording, features: Features, base: Phase, first: int, last: int
) -> Phase:
    """Pump, fill or not identified, by standing tones, colour and steadiness.

    A single unsteady piece is no wash motion, which shows by its rhythm alone.
    """
    lines = standing_lines(recording, base.start_s, base.end_s)
    tones = tuple(round(f, 2) for f, _ in lines[:5])
    steady = float(np.median(features.steadiness_db[first:last])) < 2.0
    long = base.duration_s >= 6.0
    score = {"pump": 0.15, "fill": 0.1, "wash motion": 0.15, "spin": 0.15, "other": 0.3}
    if recording.kind == "sound":
        mains = sum(excess for f, excess in lines if _is_mains(f))
        # A pump hums and gurgles below 1.2 kHz, a valve hisses above it (its coil may hum too).
        hissing = 1.0 / (1.0 + np.exp(-0.5 * _hiss_db(features, first, last)))
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


def _is_mains(frequency_hz: float) -> bool:
    """Within 1 Hz of an even harmonic of 50 or 60 Hz: what a synchronous pump hums."""
    return any(
        abs(frequency_hz - k * mains) < 1.0 for mains in (50.0, 60.0) for k in (1, 2, 3, 4, 6)
    )


def _hiss_db(features: Features, first: int, last: int) -> float:
    """Level above 1.2 kHz over that below, dB: a valve hisses."""
    power = 10.0 ** (0.1 * np.median(features.band_db[:, first:last], axis=1))
    high = power[features.bands_hz[:, 0] >= 1200.0].sum()
    low = power[features.bands_hz[:, 0] < 1200.0].sum()
    return float(10.0 * np.log10((high + 1e-16) / (low + 1e-16)))


def _outside_spin(times: tuple[float, ...], phases: list[Phase]) -> tuple[float, ...]:
    busy = [p for p in phases if p.label in ("spin", "coast-down", "distribution")]
    return tuple(t for t in times if not any(p.start_s <= t <= p.end_s for p in busy))
