"""From source to microphone: direct sound, early reflections and a decaying tail.

The tail is exponentially decaying noise, 60 dB down after the reverberation time; the critical
distance is 0.057 sqrt(V / T60) (Sabine; Kuttruff, Room Acoustics).
"""

from __future__ import annotations

import numpy as np

from spinlab.simulate.parameters import Room
from spinlab.simulate.streams import Samples

TAIL_SHARE = 0.7  # of the reverberation time that is rendered: 42 dB of decay
CRITICAL_DISTANCE_FACTOR = 0.057  # m, with V in m3 and T60 in s


def room_response(
    room: Room, rng: np.random.Generator, rate_hz: float, *, distance_m: float | None = None
) -> Samples:
    """Impulse response from a source at `distance_m`; the direct sound has amplitude 1."""
    distance = room.distance_m if distance_m is None else distance_m
    length = max(int(TAIL_SHARE * room.reverberation_s * rate_hz), int(0.03 * rate_hz))
    time_s = np.arange(length) / rate_hz
    critical = CRITICAL_DISTANCE_FACTOR * np.sqrt(room.volume_m3 / max(room.reverberation_s, 0.05))
    ratio = distance / critical  # amplitude of the reverberant field over the direct sound
    decay = np.exp(-np.log(1000.0) * time_s / max(room.reverberation_s, 0.05))
    tail = rng.standard_normal(length) * decay
    tail[time_s < 0.004] = 0.0
    response = tail * (ratio / np.sqrt(np.sum(tail**2)))
    for delay_s in rng.uniform(0.001, 0.02, 6):
        response[int(delay_s * rate_hz)] += rng.choice([-1.0, 1.0]) * rng.uniform(0.1, 0.5)
    response[0] += 1.0
    kept: Samples = response.astype(np.float32)
    return kept
