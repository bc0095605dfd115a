"""From features and speed track to labelled phases with confidence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.finding import Cause
from spinlab.phases.bursts import row_of_bursts, times
from spinlab.phases.clicks import clicks
from spinlab.phases.features import FRAME_S, Features, log_features, sound_features
from spinlab.phases.fill import maybe_spin, steady_fill
from spinlab.phases.flanks import sharpened
from spinlab.phases.motion import motion_pattern, rhythm
from spinlab.phases.pump import with_pump_sound
from spinlab.phases.segment import active_frames, runs, split
from spinlab.phases.settle import (
    TRACKED,
    absorbed,
    continued,
    drained,
    joined,
    switched,
    unsure_beside_spin,
)
from spinlab.phases.standing import standing
from spinlab.phases.value import MotionPattern, Phase, PhaseList
from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.loudness import Loudness

SPIN_RPM = 150.0
LEAST_SPIN_S = 3.0
SUREST_RHYTHM = 0.95
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
    pieces, bursts = _with_bursts(recording, features, pieces)
    phases = [_label(features, piece, track, bursts) for piece in pieces]
    phases = [standing(recording, features, sound, p) if _unnamed(p) else p for p in phases]
    if not any(phase.label == "spin" for phase in phases):
        phases = [maybe_spin(phase) for phase in phases]
    phases = continued(absorbed(joined(unsure_beside_spin(phases))))
    phases = switched(joined([steady_fill(phase, features) for phase in phases]))
    if sound is not None:
        phases = sharpened(phases, sound)
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
    # A drum that overshoots in its wash motion does not distribute its load.
    for label in ("spin", "distribution"):
        for first, last in runs(said == label):
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


def _with_bursts(
    recording: Recording, features: Features, pieces: list[Piece]
) -> tuple[list[Piece], list[tuple[float, float]]]:
    """The pieces, with those that form rows of bursts as "burst"; and the bursts' times.

    A row ends where the drum spins: what is loud between two spins, or in a hole of the speed
    track, is no burst of a motion before them.
    """
    rows: list[list[tuple[int, int]]] = [[]]
    for a, b, said in pieces:
        if said in ("spin", "coast-down"):
            rows.append([])
        elif said in ("", "wash motion"):
            rows[-1].append((a, b))
    found = [span for loud in rows for span in row_of_bursts(recording, features, loud)]
    rest = [(a, b, said) for a, b, said in pieces if not any(x <= a and b <= y for x, y in found)]
    tracked = [(a, b) for a, b, said in pieces if said == "wash motion"]
    bursts = [(a, b, "wash motion" if (a, b) in tracked else "burst") for a, b in found]
    return sorted([*rest, *bursts]), [times(features, span) for span in found]


def _label(
    features: Features,
    piece: Piece,
    track: SpeedTrack | None,
    bursts: list[tuple[float, float]],
) -> Phase:
    first, last, said = piece
    start, end = times(features, (first, last))
    base = Phase(label="running, not identified", start_s=start, end_s=end, confidence=0.5)
    if said == "quiet":
        return replace(base, label="quiet", confidence=0.95, evidence="nothing runs")
    if said not in ("", "burst"):
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
    if said != "burst":
        return base
    sure = SUREST_RHYTHM * rhythm(bursts)
    return replace(
        base,
        label="wash motion",
        confidence=round(sure, 2),
        rivals=(
            Cause(
                cause="another part switched on and off in a rhythm",
                probability=round(1.0 - sure, 2),
            ),
        ),
        evidence=say(
            "one of {bursts} bursts of about equal length with pauses between", bursts=len(bursts)
        ),
    )


def _unnamed(phase: Phase) -> bool:
    return phase.label == "running, not identified"


def _outside_spin(times: tuple[float, ...], phases: list[Phase]) -> tuple[float, ...]:
    busy = [p for p in phases if p.label in ("spin", "coast-down", "distribution")]
    return tuple(t for t in times if not any(p.start_s <= t <= p.end_s for p in busy))
