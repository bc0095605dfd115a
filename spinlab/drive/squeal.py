"""A belt that slips cries: a raw tone, only while the motor pulls the drum up.

Rubber that sticks and slips sounds at a pitch that the belt's free span sets, with overtones; it
wanders a little and does not follow the drum's speed, as every order does.  What is heard while the
drum gains speed is held against plateaus and the run-out, where the belt carries little: hum,
pumps, fans and talk sound in both.  Multiples of the motor's rate are left out of the spectrum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

PITCH_HZ = (300.0, 1600.0)  # common practice, no published source
WANDER = 0.08  # relative: what one cry's pitch moves by
HARMONICS = 4
PULLING_RPM_PER_S, STEADY_RPM_PER_S = 30.0, 8.0
SLOWEST_RPM = 100.0
LEAST_S = 3.0  # of pulling, and of what it is held against
HOP_S, FRAME_S = 0.1, 0.128
_SMOOTH_FRAMES = 5
_AROUND_CELLS = 61  # about half a kilohertz: what a tone stands out of
_MOST_DB = 15.0  # one loud line is no cry: each overtone counts up to this
_PITCH_STEP = 0.01
_MOTOR_CELLS = 1.5  # to either side of a multiple of the motor's rate


@dataclass(frozen=True, kw_only=True)
class Squeal:
    """The pitch that sounds most beyond chance while the motor pulls.

    Attributes:
        pitch_hz: its middle.
        more_db: by how much more its overtones stand out (mean of the first four, each counted up
            to 15 dB) while the motor pulls than else.
        pulling_s: how long the motor pulled.
        reason: why there is no number; "" otherwise.
    """

    pitch_hz: float | None = None
    more_db: float | None = None
    pulling_s: float = 0.0
    reason: str = ""


def squeal(recording: Recording, track: SpeedTrack, *, motor_ratio: float | None) -> Squeal:
    """Look for a cry while the drum is driven up.

    Args:
        recording: sound.
        track: the drum's speed.
        motor_ratio: motor turns per drum turn, whose multiples are left out; None if not known.
    """
    top = 0.45 * recording.rate_hz
    if top < HARMONICS * PITCH_HZ[0] * 1.5 or recording.length < recording.rate_hz:
        return Squeal(reason="the recording holds too little for the overtones of a squeal")
    size = 2 ** round(np.log2(FRAME_S * recording.rate_hz))
    hop = round(HOP_S * recording.rate_hz)
    starts = np.arange(0, recording.length - size, hop)
    time = recording.start_s + (starts + 0.5 * size) / recording.rate_hz
    speed, pulling, steady = _states(track, time)
    if min(pulling.sum(), steady.sum()) * HOP_S < LEAST_S:
        return Squeal(
            pulling_s=float(pulling.sum() * HOP_S),
            reason="the drum's speed is known for too little of a ramp, or of nothing beside one",
        )
    pitches = np.exp(np.arange(np.log(PITCH_HZ[0]), np.log(min(PITCH_HZ[1], top / 2)), _PITCH_STEP))
    sums = {True: np.zeros(len(pitches)), False: np.zeros(len(pitches))}
    for state, frames in ((True, pulling), (False, steady)):
        for k in np.flatnonzero(frames):
            motor_hz = None if motor_ratio is None else motor_ratio * speed[k] / 60.0
            sums[state] += _cry_db(recording, int(starts[k]), size, pitches, motor_hz)
    more = sums[True] / pulling.sum() - sums[False] / steady.sum()
    best = int(np.argmax(more))
    return Squeal(
        pitch_hz=float(pitches[best]),
        more_db=float(more[best]),
        pulling_s=float(pulling.sum() * HOP_S),
    )


def _states(
    track: SpeedTrack, time_s: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Speed at each frame; where the motor pulls the drum up; where it holds it or is off."""
    known = np.isfinite(track.speed_rpm)
    speed = np.interp(time_s, track.time_s, np.where(known, track.speed_rpm, 0.0))
    here = np.clip(np.searchsorted(track.time_s, time_s), 0, len(track.time_s) - 1)
    smooth = np.convolve(speed, np.full(_SMOOTH_FRAMES, 1.0 / _SMOOTH_FRAMES), "same")
    slope = np.gradient(smooth, time_s)
    turning = known[here] & (speed > SLOWEST_RPM)
    off = track.motion[here] == "coasting"
    pulling = turning & ~off & (slope > PULLING_RPM_PER_S)
    return speed, pulling, turning & (off | (np.abs(slope) < STEADY_RPM_PER_S))


def _cry_db(
    recording: Recording,
    first: int,
    size: int,
    pitches: NDArray[np.float64],
    motor_hz: float | None,
) -> NDArray[np.float64]:
    """How far the overtones of each pitch stand out in one frame, wander allowed."""
    from scipy.ndimage import maximum_filter1d, median_filter

    values = recording.samples[:, first : first + size].mean(axis=0, dtype=np.float64)
    power = np.abs(np.fft.rfft(values * np.hanning(size + 2)[1:-1])) ** 2
    level = 10.0 * np.log10(power + 1e-20)
    out = np.clip(level - median_filter(level, _AROUND_CELLS, mode="nearest"), 0.0, _MOST_DB)
    cell_hz = recording.rate_hz / size
    if motor_hz is not None and motor_hz > 2.0 * _MOTOR_CELLS * cell_hz:
        frequency = np.arange(len(out)) * cell_hz
        near = np.abs(frequency - motor_hz * np.round(frequency / motor_hz))
        out = np.where(near < _MOTOR_CELLS * cell_hz, 0.0, out)
    out = maximum_filter1d(out, 3)
    cells = np.round(np.outer(np.arange(1, HARMONICS + 1), pitches) / cell_hz).astype(int)
    heard = np.where(cells < len(out), out[np.minimum(cells, len(out) - 1)], 0.0).mean(axis=0)
    return np.asarray(maximum_filter1d(heard, 2 * round(WANDER / _PITCH_STEP) + 1))
