"""What really happened, on the file's own clock, to hold a reading against."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.dynamics import STATE_RATE_HZ, Motion
from spinlab.simulate.parameters import Parameters
from spinlab.simulate.programme import Command, Span

TRUTH_RATE_HZ = 100.0
SETTLED_SHARE = 0.01
LOST_SHARE = 0.02
SETTLING_S = 0.3


@dataclass(frozen=True, kw_only=True)
class StageTruth:
    """One expected plateau.  Times in s on the file's clock; None where it never settled.

    `speed_rpm` is the mean over the settled stretch, `start_s` to `end_s`: from within 1 % of
    the level held to when the level is left.  `reached` says whether that level lies within 2 %
    of the expected one.
    """

    expected_rpm: float
    reached: bool
    speed_rpm: float | None
    ripple_rms_rpm: float | None
    top_rpm: float
    commanded_s: float
    start_s: float | None
    end_s: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """Speed, angle, stages and everything that made the recording.

    Attributes:
        time_s: uniform at 100 Hz on the file's clock, from its first sample.
        speed_rpm: unsigned drum speed; direction: -1, 0 or 1; turns: signed, from power-up.
        motor_ratio: mean of motor over drum speed while above 300 rpm, creep included.
        snr_db: machine over interference power in 100-7000 Hz at the microphone, before the
            phone's processing, while commanded above 300 rpm; None if there is none.
        faults: kind -> severity, 0..1.
    """

    time_s: NDArray[np.float64]
    speed_rpm: NDArray[np.float64]
    direction: NDArray[np.int8]
    turns: NDArray[np.float64]
    stages: tuple[StageTruth, ...]
    retries: tuple[tuple[float, float], ...]
    motor_ratio: float
    mains_hz: float
    snr_db: float | None
    faults: dict[str, float]
    dropouts: tuple[tuple[float, float], ...]
    parameters: Parameters
    seed: int

    def to_json(self) -> dict[str, Any]:
        """Plain values only; speed and angle rounded to 1e-4."""
        return {
            "format": "spinlab.truth",
            "version": 1,
            "note": "simulated by spinlab; not a measurement",
            "seed": self.seed,
            "time_s": np.round(self.time_s, 4).tolist(),
            "speed_rpm": np.round(self.speed_rpm, 3).tolist(),
            "direction": self.direction.tolist(),
            "turns": np.round(self.turns, 4).tolist(),
            "stages": [asdict(stage) for stage in self.stages],
            "retries": [{"time_s": t, "speed_rpm": v} for t, v in self.retries],
            "motor_ratio": self.motor_ratio,
            "mains_hz": self.mains_hz,
            "snr_db": self.snr_db,
            "faults": self.faults,
            "dropouts": [list(span) for span in self.dropouts],
            "parameters": asdict(self.parameters),
        }


def stage_truth(span: Span, motion: Motion, file_clock: FileClock) -> StageTruth:
    """How one plateau really went."""
    first, last = (round(v * STATE_RATE_HZ) for v in (span.hold_start_s, span.end_s))
    speed = 60.0 * np.abs(motion.rate_hz[first:last])
    expected = abs(span.step.rpm)
    level = float(np.median(speed[len(speed) // 2 :]))
    near = np.abs(speed - level) <= SETTLED_SHARE * level
    start_s = end_s = mean = ripple = None
    if near.mean() > 0.3:
        begin = int(np.argmax(near))
        inner = speed[begin + round(SETTLING_S * STATE_RATE_HZ) :]
        if len(inner):
            mean, ripple = float(inner.mean()), float(inner.std())
            start_s = file_clock.at(span.hold_start_s + begin / STATE_RATE_HZ)
            end_s = file_clock.at(span.end_s)
    return StageTruth(
        expected_rpm=expected,
        reached=mean is not None and abs(mean - expected) <= LOST_SHARE * expected,
        speed_rpm=mean,
        ripple_rms_rpm=ripple,
        top_rpm=float(speed.max()),
        commanded_s=file_clock.at(span.hold_start_s),
        start_s=start_s,
        end_s=end_s,
    )


@dataclass(frozen=True, kw_only=True)
class FileClock:
    """Machine time (s from power-up) to the file's clock."""

    start_s: float
    error_ppm: float

    def at(self, machine_s: float) -> float:
        """Time on the file's clock."""
        return (machine_s - self.start_s) * (1.0 + 1e-6 * self.error_ppm)


def truth(
    p: Parameters,
    seed: int,
    orders: Command,
    motion: Motion,
    *,
    duration_s: float,
    snr_db: float | None,
    faults: dict[str, float],
    dropouts: tuple[tuple[float, float], ...],
) -> Truth:
    """Gather what happened within the `duration_s` of file."""
    clock = FileClock(start_s=p.phone.start_s, error_ppm=p.phone.clock_error_ppm)
    time_s = np.arange(int(duration_s * TRUTH_RATE_HZ)) / TRUTH_RATE_HZ
    machine_s = clock.start_s + time_s / (1.0 + 1e-6 * clock.error_ppm)
    rate = np.interp(machine_s, motion.time_s, motion.rate_hz)
    fast = np.abs(motion.rate_hz) > 5.0
    ratio = motion.motor_rate_hz[fast] / motion.rate_hz[fast]
    spins = [s for s in orders.spans if s.step.kind == "spin" and s.hold_start_s > clock.start_s]
    given_up = [s for s in orders.spans if s.step.kind == "abandon" and s.end_s > clock.start_s]
    return Truth(
        time_s=time_s,
        speed_rpm=60.0 * np.abs(rate),
        direction=np.where(np.abs(rate) < 0.02, 0, np.sign(rate)).astype(np.int8),
        turns=np.interp(machine_s, motion.time_s, motion.turns),
        stages=tuple(stage_truth(span, motion, clock) for span in spins),
        retries=tuple(
            (
                clock.at(span.end_s),
                60.0 * abs(float(np.interp(span.end_s, motion.time_s, motion.rate_hz))),
            )
            for span in given_up
        ),
        motor_ratio=float(ratio.mean()) if fast.any() else p.drive.ratio,
        mains_hz=p.surroundings.mains_hz,
        snr_db=snr_db,
        faults=faults,
        dropouts=dropouts,
        parameters=p,
        seed=seed,
    )
