"""The machine's motion as seen at the sample instants of one recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.dynamics import STATE_RATE_HZ, Motion
from spinlab.simulate.streams import Samples, stream, wander

DRIFT_RATE_HZ = 50.0
REFERENCE_HZ = 20.0  # drum turns per second at which levels are stated: 1200 rpm


@dataclass(frozen=True, kw_only=True, eq=False)
class Timebase:
    """Sample instants and the machine's state at each; every array has shape (n,).

    Attributes:
        seed: of the whole recording.
        rate_hz: nominal sample rate.
        time_s: machine time of each sample (from power-up), which differs from the file's clock
            by the start offset and the clock error.
        turns, motor_turns: float64, signed.
        speed_hz: unsigned turns per second of the drum, float32.
        load: motor torque over its largest, float32.
        creep: share by which the motor leads the drum over the ratio, float32.
        motion: the machine's motion on its own grid.
    """

    seed: int
    rate_hz: float
    time_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    motor_turns: NDArray[np.float64]
    speed_hz: Samples
    load: Samples
    creep: Samples
    motion: Motion

    @property
    def count(self) -> int:
        """Number of samples."""
        return len(self.time_s)

    def slow(self, name: str, corner_hz: float) -> Samples:
        """Unit-variance noise below `corner_hz` (at most 10 Hz) at the sample instants."""
        step = int(self.rate_hz / DRIFT_RATE_HZ)
        knots = self.count // step + 2
        values = wander(stream(self.seed, name), knots, self.rate_hz / step, corner_hz)
        start, rise = values[:-1, None].astype(np.float32), np.diff(values)[:, None]
        share = (np.arange(step) / step).astype(np.float32)
        drawn: Samples = (start + share * rise.astype(np.float32)).ravel()[: self.count]
        return drawn

    def white(self, name: str) -> Samples:
        """Unit-variance white noise."""
        return stream(self.seed, name).standard_normal(self.count, dtype=np.float32)


def growth(base: Timebase, exponent: float) -> Samples:
    """How a source's amplitude grows with the drum's speed; 1 at 1200 rpm."""
    result: Samples = (base.speed_hz * np.float32(1.0 / REFERENCE_HZ)) ** np.float32(exponent)
    return result


def timebase(
    motion: Motion,
    *,
    seed: int,
    rate_hz: float,
    start_s: float = 0.0,
    duration_s: float | None = None,
    clock_error_ppm: float = 0.0,
) -> Timebase:
    """Read `motion` at the samples of a file whose clock runs fast by `clock_error_ppm`."""
    step = 1.0 / (rate_hz * (1.0 + 1e-6 * clock_error_ppm))
    count = int((motion.time_s[-1] - start_s) / step)
    if duration_s is not None:
        count = min(count, round(duration_s * rate_hz))
    time_s: NDArray[np.float64] = start_s + np.arange(count, dtype=np.float64) * step
    place = time_s * STATE_RATE_HZ
    index = np.minimum(place.astype(np.int32), len(motion.time_s) - 2)
    part = place - index
    rough = part.astype(np.float32)

    def fine(values: NDArray[np.float64]) -> Samples:
        single = values.astype(np.float32)
        read: Samples = single[index] + rough * np.diff(single)[index]
        return read

    torque = np.abs(motion.torque_nm)
    return Timebase(
        seed=seed,
        rate_hz=rate_hz,
        time_s=time_s,
        turns=motion.turns[index] + part * np.diff(motion.turns)[index],
        motor_turns=motion.motor_turns[index] + part * np.diff(motion.motor_turns)[index],
        speed_hz=fine(np.abs(motion.rate_hz)),
        load=fine(torque / max(float(torque.max()), 1e-9)),
        creep=fine(motion.creep),
        motion=motion,
    )
