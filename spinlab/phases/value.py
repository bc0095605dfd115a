"""Phases of a service test as frozen values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from spinlab.finding import Cause
from spinlab.speed.track import Estimate

Label = Literal[
    "quiet",
    "fill",
    "pump",
    "wash motion",
    "distribution",
    "spin",
    "coast-down",
    "running, not identified",
]
LABELS: tuple[str, ...] = (
    "quiet",
    "fill",
    "pump",
    "wash motion",
    "distribution",
    "spin",
    "coast-down",
    "running, not identified",
)


@dataclass(frozen=True, kw_only=True)
class PumpSound:
    """How a pump's tone and its noise swing, in pieces of a few seconds.

    Attributes:
        start_s: shape (p,), beginnings of the pieces.
        tone_swing_db, noise_swing_db: shape (p,), standard deviation of the level within a piece,
            0.7 to 8 Hz, below 500 Hz (hum and vanes) and above 1.2 kHz (water, bubbles).
        together: shape (p,), correlation of the two levels: gurgling water and an automatic gain
            swing both alike, air takes the load off the tone as its bubbles hiss.
        above_quiet_db: how far the pump's tone stands above the quietest of the recording.
    """

    start_s: tuple[float, ...]
    tone_swing_db: tuple[float, ...]
    noise_swing_db: tuple[float, ...]
    together: tuple[float, ...]
    above_quiet_db: float


@dataclass(frozen=True, kw_only=True)
class Phase:
    """One labelled stretch of the recording, times on the file's own clock.

    Attributes:
        label: what it is taken for.
        start_s, end_s, boundary_uncertainty_s: where it lies, and how sharply.
        confidence: 0 to 1.
        rivals: what else it could be.
        lines_hz: tones that stand still in it, strongest first.
        pump: how evenly a pump sounds, for a sound's pump phase.
        evidence: what speaks for the label, in words.
        corrected: True where the user set it.
    """

    label: Label
    start_s: float
    end_s: float
    confidence: float
    boundary_uncertainty_s: float = 0.5
    rivals: tuple[Cause, ...] = ()
    lines_hz: tuple[float, ...] = ()
    pump: PumpSound | None = None
    evidence: str = ""
    corrected: bool = False

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True, kw_only=True)
class MotionPattern:
    """The wash motion's on and off times, and whether both directions are there.

    Attributes:
        starts_s, ends_s: the bursts.
        on_s, off_s: mean on and off times with standard uncertainty.
        regularity: 1 where every period is alike, 0 where they scatter as much as they last.
        alternation_p: chance that odd and even bursts sound as different as they do by accident.
        directions: "both", "one", or "not measurable".
        first_on_s, second_on_s: mean on times of the odd and the even bursts.
        first_off_s, second_off_s: mean pauses after the odd and after the even bursts.
        first_pace_hz, second_pace_hz: how often a second the lifters throw the water.
        first_speed_rpm, second_speed_rpm: where the drum's speed is known in the bursts.
        second_over_first_speed: relative speed of the even bursts, from speeds or paces.
        reason: why there is no pattern or no direction; "" otherwise.
    """

    starts_s: tuple[float, ...] = ()
    ends_s: tuple[float, ...] = ()
    on_s: Estimate | None = None
    off_s: Estimate | None = None
    regularity: float | None = None
    alternation_p: float | None = None
    directions: Literal["both", "one", "not measurable"] = "not measurable"
    first_on_s: Estimate | None = None
    second_on_s: Estimate | None = None
    first_off_s: Estimate | None = None
    second_off_s: Estimate | None = None
    first_pace_hz: Estimate | None = None
    second_pace_hz: Estimate | None = None
    first_speed_rpm: Estimate | None = None
    second_speed_rpm: Estimate | None = None
    second_over_first_speed: Estimate | None = None
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class PhaseList:
    """The whole recording, cut.

    Attributes:
        phases: in time order, without gaps or overlaps.
        motion: the wash motion's pattern.
        clicks_s: times of short broadband clicks outside the spin: relays, valves, door lock.
        drained_before_spin: True, False, or None where it cannot be told.
        reason: why nothing could be cut; "" otherwise.
    """

    phases: tuple[Phase, ...] = ()
    motion: MotionPattern = MotionPattern()
    clicks_s: tuple[float, ...] = ()
    drained_before_spin: bool | None = None
    reason: str = ""

    def of(self, label: str) -> tuple[Phase, ...]:
        """All phases of one label."""
        return tuple(phase for phase in self.phases if phase.label == label)
