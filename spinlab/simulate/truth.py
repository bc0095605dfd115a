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
DRIFT_SHARE = 0.02
LEAST_RPM = 20.0
LEAST_STAGE_S = 1.0
SETTLING_S = 0.3


@dataclass(frozen=True, kw_only=True)
class StageTruth:
    """One expected plateau.  Times in s on the file's clock; None where it never settled.

    `speed_rpm` is the mean over the settled stretch, `start_s` to `end_s`: from coming within
    1 % of the level held to when the programme goes on (without the first 0.3 s).  `reached`
    says whether that mean lies within 2 % of the expected speed.  A reader that finds other
    limits should be held against `Truth.mean_speed_rpm` between its own.
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

    def mean_speed_rpm(self, start_s: float, end_s: float) -> float:
        """True mean speed between two times of the file's clock."""
        inside = (self.time_s >= start_s) & (self.time_s <= end_s)
        return float(np.mean(self.speed_rpm[inside])) if inside.any() else float("nan")

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


@dataclass(frozen=True, kw_only=True)
class FileClock:
    """Machine time (s from power-up) to the file's clock."""

    start_s: float
    error_ppm: float

    def at(self, machine_s: float) -> float:
        """Time on the file's clock."""
        return (machine_s - self.start_s) * (1.0 + 1e-6 * self.error_ppm)

    def machine(self, file_s: float) -> float:
        """Machine time at a time of the file's clock."""
        return self.start_s + file_s / (1.0 + 1e-6 * self.error_ppm)


def _settled_from(speed: NDArray[np.float64]) -> int | None:
    """First sample from which `speed` stays about one level, None where it never does.

    The second half must not drift by more than 2 %; a hunting drum counts as settled.
    """
    half = speed[len(speed) // 2 :]
    level, scatter = float(np.median(half)), float(np.std(half))
    drift = np.polyfit(np.linspace(0.0, 1.0, len(half)), half, 1)[0]
    if level < LEAST_RPM or abs(drift) > DRIFT_SHARE * level or scatter > DRIFT_SHARE * level:
        return None
    near = np.abs(speed - level) <= max(SETTLED_SHARE * level, 2.5 * scatter)
    return int(np.argmax(near))


def stage_truth(span: Span, motion: Motion, clock: FileClock, duration_s: float) -> StageTruth:
    """How one plateau really went, as far as it lies within the file."""
    begin_s = max(span.hold_start_s, clock.start_s)
    stop_s = min(span.end_s, clock.machine(duration_s))
    first, last = (round(v * STATE_RATE_HZ) for v in (begin_s, stop_s))
    speed = 60.0 * np.abs(motion.rate_hz[first:last])
    expected = abs(span.step.rpm)
    settled = _settled_from(speed)
    mean = ripple = None
    if settled is not None:
        inner = speed[settled:]
        inner = inner[min(round(SETTLING_S * STATE_RATE_HZ), len(inner) // 2) :]
        mean, ripple = float(inner.mean()), float(inner.std())
    return StageTruth(
        expected_rpm=expected,
        reached=mean is not None and abs(mean - expected) <= LOST_SHARE * expected,
        speed_rpm=mean,
        ripple_rms_rpm=ripple,
        top_rpm=float(speed.max()),
        commanded_s=clock.at(span.hold_start_s),
        start_s=None if settled is None else clock.at(begin_s + settled / STATE_RATE_HZ),
        end_s=None if settled is None else clock.at(stop_s),
    )


def _rpm_at(machine_s: float, motion: Motion) -> float:
    return 60.0 * abs(float(np.interp(machine_s, motion.time_s, motion.rate_hz)))


def truth(
    p: Parameters,
    seed: int,
    orders: Command,
    motion: Motion,
    *,
    duration_s: float,
    clock: FileClock,
    snr_db: float | None,
    dropouts: tuple[tuple[float, float], ...],
) -> Truth:
    """Gather what happened within the `duration_s` of file."""
    time_s = np.arange(int(duration_s * TRUTH_RATE_HZ)) / TRUTH_RATE_HZ
    machine_s = clock.start_s + time_s / (1.0 + 1e-6 * clock.error_ppm)
    rate = np.interp(machine_s, motion.time_s, motion.rate_hz)
    fast = np.abs(motion.rate_hz) > 5.0
    ratio = motion.motor_rate_hz[fast] / motion.rate_hz[fast]
    first_s, last_s = clock.start_s + LEAST_STAGE_S, clock.machine(duration_s) - LEAST_STAGE_S
    heard = [s for s in orders.spans if s.end_s > first_s and s.hold_start_s < last_s]
    spins = [span for span in heard if span.step.kind == "spin"]
    given_up = [span for span in heard if span.step.kind == "abandon"]
    return Truth(
        time_s=time_s,
        speed_rpm=60.0 * np.abs(rate),
        direction=np.where(np.abs(rate) < 0.02, 0, np.sign(rate)).astype(np.int8),
        turns=np.interp(machine_s, motion.time_s, motion.turns),
        stages=tuple(stage_truth(span, motion, clock, duration_s) for span in spins),
        retries=tuple((clock.at(s.end_s), _rpm_at(s.end_s, motion)) for s in given_up),
        motor_ratio=float(ratio.mean()) if fast.any() else p.drive.ratio,
        mains_hz=p.surroundings.mains_hz,
        snr_db=snr_db,
        faults=p.faults,
        dropouts=dropouts,
        parameters=p,
        seed=seed,
    )
