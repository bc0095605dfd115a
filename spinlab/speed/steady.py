"""A machine that holds one speed throughout: told only from a fast sensor on the machine itself.

Where nothing moves, a line that stands still may be anything.  A sensor sampled at kilohertz on a
rotor's own housing shows a whole family of shaft orders, none of them mains; that family is taken
for the shaft, with a remark that no movement proves it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.maps import Maps
from spinlab.speed.steady_tones import MAINS_HZ
from spinlab.speed.track import SpeedTrack

LEAST_RATE_HZ = 2000.0
ORDERS = np.arange(1, 7)
LEAST_ORDERS = 3
# A line counts from this many times the local noise floor: p below 1e-5 for one bin.
LEAST_RATIO = 12.0
# The mains frequency is held within about this (common practice of interconnected grids).
MAINS_SPREAD = 0.0015
SEGMENT_S = 4.0
REMARK = say(
    "the speed never changes in this recording, so no movement proves that this family of lines "
    "is the shaft"
)


def steady_track(
    recording: Recording, maps: Maps, *, rpm_range: tuple[float, float]
) -> SpeedTrack | None:
    """The one speed of a steady rig, or None where it cannot be told."""
    if recording.kind != "acceleration" or recording.rate_hz < LEAST_RATE_HZ:
        return None
    from spinlab.speed.listen import principal_direction

    found = shaft_rate(
        principal_direction(recording.samples),
        recording.rate_hz,
        range_hz=(max(rpm_range[0] / 60.0, 5.0), rpm_range[1] / 60.0),
    )
    if found is None:
        return None
    rate_hz, sigma_hz = found
    count = len(maps.time_s)
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=np.full(count, 60.0 * rate_hz),
        standard_uncertainty_rpm=np.full(count, 60.0 * sigma_hz),
        confidence=np.full(count, 0.5),
        motion=np.full(count, "plateau"),
        carried_by=np.full(count, "shaft orders"),
        remarks=(REMARK,),
    )


def shaft_rate(
    signal: NDArray[np.float32], rate_hz: float, *, range_hz: tuple[float, float]
) -> tuple[float, float] | None:
    """Rate of the best family of whole orders and its standard uncertainty, Hz, or None."""
    from scipy.signal import welch

    from spinlab.speed.evidence import noise_floor

    length = min(len(signal), int(SEGMENT_S * rate_hz))
    pitch, power = welch(signal, rate_hz, nperseg=length, nfft=4 * length)
    bin_hz = float(pitch[1])
    ratio = power / noise_floor(power[None].astype(np.float32), bin_hz, width_hz=24.0)[0]
    trial = np.arange(range_hz[0], range_hz[1], bin_hz / 4)
    index = np.round(trial[:, None] * ORDERS[None, :] / bin_hz).astype(int)
    index = np.clip(index, 0, len(ratio) - 1)
    lines = ratio[index]
    lines[_is_mains(trial[:, None] * ORDERS[None, :], bin_hz)] = 0.0
    heard = lines > LEAST_RATIO
    score = np.log1p(np.minimum(lines, 1e4)).sum(axis=1)
    score[~heard[:, 0] | (heard.sum(axis=1) < LEAST_ORDERS)] = 0.0
    best = int(np.argmax(score))
    if score[best] <= 0:
        return None
    return float(trial[best]), float(bin_hz * 2 / max(1, ORDERS[heard[best]].max()))


def _is_mains(frequency_hz: NDArray[np.float64], bin_hz: float) -> NDArray[np.bool_]:
    out = np.zeros(frequency_hz.shape, bool)
    for mains in MAINS_HZ:
        multiple = np.maximum(np.round(frequency_hz / mains), 1.0)
        out |= (
            np.abs(frequency_hz - multiple * mains) < multiple * mains * MAINS_SPREAD + bin_hz / 4
        )
    return out
