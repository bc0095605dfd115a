"""Which mains frequency a drive's sound is held against."""

from __future__ import annotations

from spinlab.machine.value import Machine
from spinlab.speed.track import SpeedTrack

# A grid keeps its frequency far better than this; beyond it, what was read is another tone.
SAME_GRID_HZ = 1.0


def mains_frequency_hz(track: SpeedTrack, machine: Machine | None) -> float | None:
    """The mains frequency; None where neither profile nor recording says.

    The profile states 50 or 60, which a person knows; the recording says it more exactly where it
    agrees, and alone where the profile is silent.
    """
    stated = None if machine is None else machine.mains_hz
    heard = None if track.mains_hz is None else float(track.mains_hz.value)
    if stated is None or heard is None:
        return heard if stated is None else float(stated)
    return heard if abs(heard - stated) < SAME_GRID_HZ else float(stated)
