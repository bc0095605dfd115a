"""Everything that the picture shows, computed beforehand: drawing does no arithmetic.

Conventions: times in s on the file's own clock, speeds in rpm of the drum, frequencies in Hz;
`nan` where there is nothing to draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.machine.value import Machine
from spinlab.recording import Recording
from spinlab.spectra import Spectrogram, spectrogram
from spinlab.speed.track import LockedLine, SpeedTrack, SteadyLine
from spinlab.stages import Outcome, Stage, StageTable

# Coverage factor of the band round the speed: about 95 % (GUM, JCGM 100:2008, 6.3.3).
_COVERAGE_FACTOR = 2.0
# A picture shows the strongest lines only: more would hide the spectrogram under them.
MOST_CURVES = 5
MOST_STEADY_LINES = 3
# Room above the highest curve, and the band within which the top of the picture is chosen.
_HEADROOM = 1.25
_LOWEST_TOP_HZ = 150.0
_HIGHEST_TOP_HZ = 3200.0
_TOP_WITHOUT_CURVES_HZ = 1000.0
_MOST_POINTS = 6000


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderCurve:
    """Where one line that moves with the drum should stand in the spectrogram.

    Attributes:
        order: multiple of the drum's rotation rate.
        source: what it is locked to.
        frequency_hz: shape (n,), nan where the drum's speed is unknown or zero.
    """

    order: float
    source: str
    frequency_hz: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class PlateauMark:
    """A plateau of the programme as the picture shows it.

    Attributes:
        held_s: from when to when it was held; None for one that was not reached.
        expected_rpm: the speed asked for, None for one that was not.
        allowed_rpm: tolerance either side, None where unknown.
        outcome: as in the stage table.
        speed_rpm: the measured mean, None where there is none.
    """

    held_s: tuple[float, float] | None
    expected_rpm: float | None
    allowed_rpm: float | None
    outcome: Outcome
    speed_rpm: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Portrait:
    """One recording's spectrogram, speed and departure from the programme.

    Attributes:
        spectrogram: levels over time and frequency.
        time_s: shape (n,), frame times of all the following.
        curves: the strongest lines that move with the drum.
        steady: the loudest tones that do not, within the spectrogram.
        speed_rpm, low_rpm, high_rpm: shape (n,), the speed and its 95 % band.
        departure_rpm, departure_low_rpm, departure_high_rpm: shape (n,), speed less the plateau's
            asked speed (less its own mean where none was asked), nan between plateaus.
        plateaus: the programme's plateaus, and extra ones.
        start_s, end_s: the recording's span.
        scale: "absolute" or "relative".
    """

    spectrogram: Spectrogram
    time_s: NDArray[np.float64]
    curves: tuple[OrderCurve, ...]
    steady: tuple[SteadyLine, ...]
    speed_rpm: NDArray[np.float64]
    low_rpm: NDArray[np.float64]
    high_rpm: NDArray[np.float64]
    departure_rpm: NDArray[np.float64]
    departure_low_rpm: NDArray[np.float64]
    departure_high_rpm: NDArray[np.float64]
    plateaus: tuple[PlateauMark, ...]
    start_s: float
    end_s: float
    scale: str

    @property
    def speed_known(self) -> bool:
        """Whether any frame has a speed above zero."""
        return bool(np.any(np.nan_to_num(self.speed_rpm) > 0))


def portrait(
    recording: Recording,
    track: SpeedTrack,
    stages: StageTable,
    machine: Machine | None = None,
) -> Portrait:
    """Compute what the picture of one recording shows.

    Args:
        recording: the recording that `track` was found in.
        track: the drum's speed.
        stages: the speed held against the programme.
        machine: the unit under test, for the tolerances of its plateaus.
    """
    allowed = {p.rpm: p.allowed_departure_rpm for p in machine.programme} if machine else {}
    step = max(1, -(-len(track.time_s) // _MOST_POINTS))
    time_s = track.time_s[::step]
    speed = track.speed_rpm[::step]
    half = _COVERAGE_FACTOR * track.standard_uncertainty_rpm[::step]
    reference = _reference(time_s, stages.stages)
    curves = _curves(track.lines, speed)
    top_hz = _top_hz(recording, curves)
    return Portrait(
        spectrogram=spectrogram(recording, max_hz=top_hz),
        time_s=time_s,
        curves=curves,
        steady=_loudest(track.steady_lines, top_hz),
        speed_rpm=speed,
        low_rpm=np.maximum(speed - half, 0.0),
        high_rpm=speed + half,
        departure_rpm=speed - reference,
        departure_low_rpm=speed - half - reference,
        departure_high_rpm=speed + half - reference,
        plateaus=tuple(_mark(stage, allowed) for stage in stages.stages),
        start_s=recording.start_s,
        end_s=recording.end_s,
        scale=track.scale,
    )


def _curves(lines: tuple[LockedLine, ...], speed: NDArray[np.float64]) -> tuple[OrderCurve, ...]:
    turning = np.where(np.nan_to_num(speed) > 0, speed, np.nan)
    if not np.any(np.isfinite(turning)):
        return ()
    strongest = sorted(lines, key=lambda line: -line.level_db)[:MOST_CURVES]
    return tuple(
        OrderCurve(order=line.order, source=line.source, frequency_hz=line.order * turning / 60.0)
        for line in sorted(strongest, key=lambda line: line.order)
        if line.source != "modulation"  # a modulation has no line of its own in the spectrum
    )


def _top_hz(recording: Recording, curves: tuple[OrderCurve, ...]) -> float:
    half_rate = recording.rate_hz / 2
    if not curves:
        return min(half_rate, _TOP_WITHOUT_CURVES_HZ)
    highest = max(float(np.nanmax(curve.frequency_hz)) for curve in curves)
    return min(half_rate, float(np.clip(_HEADROOM * highest, _LOWEST_TOP_HZ, _HIGHEST_TOP_HZ)))


def _loudest(lines: tuple[SteadyLine, ...], top_hz: float) -> tuple[SteadyLine, ...]:
    shown = [line for line in lines if line.frequency_hz < top_hz]
    return tuple(sorted(shown, key=lambda line: -line.level_db)[:MOST_STEADY_LINES])


def _reference(time_s: NDArray[np.float64], stages: tuple[Stage, ...]) -> NDArray[np.float64]:
    reference = np.full(len(time_s), np.nan)
    for stage in stages:
        asked = stage.expected_rpm if stage.expected_rpm is not None else stage.speed_rpm
        if asked is None or stage.start_s is None or stage.end_s is None:
            continue
        reference[(time_s >= stage.start_s) & (time_s <= stage.end_s)] = asked
    return reference


def _mark(stage: Stage, allowed: Mapping[float, float]) -> PlateauMark:
    start_s, end_s = stage.start_s, stage.end_s
    return PlateauMark(
        held_s=None if start_s is None or end_s is None else (start_s, end_s),
        expected_rpm=stage.expected_rpm,
        allowed_rpm=allowed.get(stage.expected_rpm) if stage.expected_rpm is not None else None,
        outcome=stage.outcome,
        speed_rpm=stage.speed_rpm,
    )
