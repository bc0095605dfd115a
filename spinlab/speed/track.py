"""The speed track: what the drum did, frame by frame, and how sure that is.

Conventions: times in s on the file's own clock, speeds in rpm of the drum, `nan` where unknown.
An *order* is a multiple of the drum's rotation rate.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

# Relative standard uncertainty of a phone's quartz (vendors' data sheets, value from memory): all
# frames share it.
CLOCK_SHARE = 50e-6

Motion = Literal["rest", "tumbling", "distribution", "ramp", "plateau", "coasting", "unknown"]
MOTIONS: tuple[str, ...] = get_args(Motion)
Scale = Literal["absolute", "relative"]


@dataclass(frozen=True, kw_only=True)
class Rival:
    """Another reading of the same evidence: the drum at `ratio` times the reported speed."""

    ratio: float
    weight: float


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A measured value with its standard uncertainty (GUM, JCGM 100:2008)."""

    value: float
    standard_uncertainty: float


@dataclass(frozen=True, kw_only=True)
class LockedLine:
    """A spectral line that moves with the drum: its order, level and what it is locked to."""

    order: float
    level_db: float
    source: Literal["drum", "motor", "modulation", "other"]


@dataclass(frozen=True, kw_only=True)
class WholePlateau:
    """The mean speed from `start_s` to `end_s`, read from all samples between at once."""

    start_s: float
    end_s: float
    speed_rpm: float
    standard_uncertainty_rpm: float


@dataclass(frozen=True, kw_only=True)
class Indication:
    """A plateau's speed known to a percent or so, for orientation: it is not called measured.

    The uncertainty is nearly all the scale's, which every indication of a recording shares.
    """

    start_s: float
    end_s: float
    speed_rpm: float
    standard_uncertainty_rpm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class IndicatedCourse:
    """A course whose scale is likely but not placed: its shape is known far better than its level.

    Attributes:
        time_s, speed_rpm: shape (n,), frames of the course and the drum's indicated speed there.
        scale_sigma: relative standard uncertainty that all frames share.
        weight: share of the likelihood that this scale holds.
        asked_rpm: where blows of a bearing carry it, the speeds asked for at which they are heard;
            empty where lines of the machine carry it.
        courses: of how many it was chosen for what is then looked for along it.
    """

    time_s: NDArray[np.float64]
    speed_rpm: NDArray[np.float64]
    scale_sigma: float
    weight: float
    asked_rpm: tuple[float, ...] = ()
    courses: float = 1.0


@dataclass(frozen=True, kw_only=True)
class SteadyLine:
    """A tone that stays at one frequency while the drum's speed changes."""

    frequency_hz: float
    level_db: float
    likely_source: str


@dataclass(frozen=True, kw_only=True, eq=False)
class SpeedTrack:
    """The drum's speed over time.

    Attributes:
        time_s: shape (n,), frame centres on the file's own clock, uniform.
        speed_rpm: shape (n,), drum speed; nan where it could not be told, 0 at rest.
        standard_uncertainty_rpm: shape (n,), 68 % level.
        confidence: shape (n,), 0 to 1.
        motion: shape (n,), one of `MOTIONS`.
        carried_by: shape (n,), the evidence that carried each frame ("drum orders",
            "motor orders", "modulation", "first order", "" where none).
        scale: "absolute", or "relative" where only ratios of speeds are known.
        rivals: other readings with their weights (the reported one is ratio 1).
        plateaus: those whose lines keep their phase, known better than from their frames.
        indications: plateaus of its course that are known roughly, measured or not.
        indicated: the course that they lie on, where the track itself knows no speed.
        motor_ratio: motor turns per drum turn, if it could be measured.
        lines: lines that move with the drum.
        steady_lines: tones that do not.
        mains_hz: the mains frequency found, if any.
        programme_used: True where the expected programme served as a prior.
        shared_uncertainty: relative standard uncertainty that all frames have in common (the
            scale's, and what the belt's creep hides); no averaging over frames removes it.
        reason: why there is no track, or no absolute scale; empty otherwise.
    """

    time_s: NDArray[np.float64]
    speed_rpm: NDArray[np.float64]
    standard_uncertainty_rpm: NDArray[np.float64]
    confidence: NDArray[np.float64]
    motion: NDArray[np.str_]
    carried_by: NDArray[np.str_]
    scale: Scale = "absolute"
    rivals: tuple[Rival, ...] = ()
    plateaus: tuple[WholePlateau, ...] = ()
    indications: tuple[Indication, ...] = ()
    indicated: IndicatedCourse | None = None
    motor_ratio: Estimate | None = None
    lines: tuple[LockedLine, ...] = ()
    steady_lines: tuple[SteadyLine, ...] = ()
    mains_hz: Estimate | None = None
    programme_used: bool = False
    shared_uncertainty: float = 0.0
    reason: str = ""
    remarks: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        shapes = {
            np.shape(getattr(self, name))
            for name in ("time_s", "speed_rpm", "standard_uncertainty_rpm", "confidence")
        } | {self.motion.shape, self.carried_by.shape}
        if len(shapes) != 1:
            raise ValueError("every per-frame array of a SpeedTrack must have the same shape")
        for name in ("time_s", "speed_rpm", "standard_uncertainty_rpm", "confidence", "motion"):
            view = getattr(self, name).view()
            view.flags.writeable = False
            object.__setattr__(self, name, view)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Frames with a speed above zero."""
        return np.isfinite(self.speed_rpm) & (self.speed_rpm > 0)

    def speed_at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Speed in rpm at any times, linear between frames, nan outside or where unknown."""
        return np.interp(time_s, self.time_s, self.speed_rpm, left=np.nan, right=np.nan)

    def turns_at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Drum turns since the first frame at any times; unknown stretches count as rest."""
        rate = np.nan_to_num(self.speed_rpm) / 60.0
        if len(rate) < 2:
            return np.zeros_like(time_s)
        steps = np.diff(self.time_s) * 0.5 * (rate[1:] + rate[:-1])
        turns = np.concatenate([[0.0], np.cumsum(steps)])
        index = np.clip(np.searchsorted(self.time_s, time_s) - 1, 0, len(rate) - 2)
        dt = np.clip(time_s - self.time_s[index], 0.0, np.diff(self.time_s)[index])
        slope = (rate[index + 1] - rate[index]) / np.diff(self.time_s)[index]
        return turns[index] + dt * (rate[index] + 0.5 * slope * dt)
