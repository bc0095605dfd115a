"""The result as plain JSON values: format "spinlab.result", version 1.

What each field means is written in the published schema, `spinlab/report/schema/result-1.json`.
Units are in the names, times are on the file's own clock, `None` stands where there is no number,
and no value is ever NaN or infinite.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import ArrayLike

from spinlab.finding import Finding, Verdict
from spinlab.machine.value import Machine
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.stages import StageTable

if TYPE_CHECKING:
    from spinlab.phases.value import PhaseList

FORMAT = "spinlab.result"
VERSION = 1

# Digits kept: ten times finer than any of these quantities can be known from a phone recording.
_SIGNIFICANT_DIGITS = 7
_TIME_DECIMALS = 4
_SPEED_DECIMALS = 3
_SHARE_DECIMALS = 4
_DEEPEST = 12


class Analysed(Protocol):
    """What a finished analysis offers to those who write it down."""

    @property
    def recording(self) -> Recording:
        """The recording that was analysed."""

    @property
    def quality(self) -> Any:
        """What the recording is good for; a frozen dataclass."""

    @property
    def machine(self) -> Machine | None:
        """The unit under test, if a profile was given."""

    @property
    def track(self) -> SpeedTrack:
        """The drum's speed over time."""

    @property
    def stages(self) -> StageTable:
        """The speed held against the programme."""

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every checked statement."""

    @property
    def verdict(self) -> Verdict:
        """The sentence that stands first."""


def result(analysis: Analysed) -> dict[str, Any]:
    """The analysis as a dictionary of plain JSON values, in the published order.

    Args:
        analysis: anything with the properties of `Analysed`.

    Returns:
        A dictionary that `json.dumps(..., allow_nan=False)` accepts.
    """
    stages = analysis.stages
    return {
        "format": FORMAT,
        "version": VERSION,
        "software": {"name": "spinlab", "version": _software_version()},
        "recording": _recording(analysis.recording),
        "quality": _quality(analysis.quality),
        "machine": plain(analysis.machine),
        "track": _track(analysis.track),
        "stages": [plain(stage) for stage in stages.stages],
        "top_speed_rpm": plain(stages.top_speed_rpm),
        "top_speed_standard_uncertainty_rpm": plain(stages.top_speed_standard_uncertainty_rpm),
        "retries": len(stages.retries) if bool(np.any(analysis.track.known)) else None,
        "given_up": [plain(retry) for retry in stages.retries],
        "coast_down": {
            "start_s": plain(stages.coast_down_start_s),
            "duration_s": plain(stages.coast_down_s),
            "from_rpm": plain(stages.coast_down_from_rpm),
            "to_rpm": plain(stages.coast_down_to_rpm),
            "slope_rpm_per_s": plain(stages.coast_down_rpm_per_s),
        },
        "total_s": plain(stages.total_s),
        "phases": _phases(getattr(analysis, "phases", None)),
        "readings": plain(getattr(analysis, "readings", ())),
        "findings": [plain(finding) for finding in analysis.findings],
        "verdict": plain(analysis.verdict),
    }


def plain(value: Any, *, _depth: int = 0) -> Any:
    """Any frozen value of spinlab as plain JSON values.

    Dataclasses and mappings become dictionaries, sequences and arrays become lists, and a number
    that is not finite becomes None.  Numbers keep seven significant digits.

    >>> plain({"speed_rpm": float("nan"), "ratio": 10.123456789})
    {'speed_rpm': None, 'ratio': 10.12346}
    """
    if _depth > _DEEPEST:
        raise ValueError("a result value is nested too deeply, or contains itself")
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, np.generic | np.ndarray):
        return plain(value.tolist(), _depth=_depth + 1)
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return _number(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = dataclasses.fields(value)
        return {f.name: plain(getattr(value, f.name), _depth=_depth + 1) for f in fields}
    if isinstance(value, Mapping):
        return {str(key): plain(entry, _depth=_depth + 1) for key, entry in value.items()}
    if isinstance(value, Iterable):
        return [plain(entry, _depth=_depth + 1) for entry in value]
    return str(value)


def _number(value: float) -> float | None:
    if not math.isfinite(value):
        return None
    return float(f"{value:.{_SIGNIFICANT_DIGITS}g}")


def _array(values: ArrayLike, decimals: int) -> list[float | None]:
    """A list rounded to `decimals`, with None for what is not finite."""
    rounded = np.round(np.asarray(values, dtype=np.float64), decimals)
    return [entry + 0.0 if math.isfinite(entry) else None for entry in rounded.tolist()]


def _recording(recording: Recording) -> dict[str, Any]:
    return {
        "file": recording.source.file,
        "sha256": recording.source.sha256,
        "kind": recording.kind,
        "duration_s": plain(recording.duration_s),
        "rate_hz": plain(recording.rate_hz),
        "channels": recording.channels,
        "channel_names": list(recording.channel_names),
        "start_s": plain(recording.start_s),
        "container": recording.source.container,
        "codec": recording.source.codec,
        "bits": recording.source.bits,
        "gaps": plain(recording.gaps),
        "clock": plain(recording.clock),
        "remarks": plain(recording.remarks),
    }


def _quality(quality: Any) -> dict[str, Any]:
    missing: dict[str, Any] = {
        "usable_band_hz": None,
        "clipped_share": None,
        "dropouts": [],
        "remarks": [],
    }
    return missing | (plain(quality) or {})


def _track(track: SpeedTrack) -> dict[str, Any]:
    return {
        "time_s": _array(track.time_s, _TIME_DECIMALS),
        "speed_rpm": _array(track.speed_rpm, _SPEED_DECIMALS),
        "standard_uncertainty_rpm": _array(track.standard_uncertainty_rpm, _SPEED_DECIMALS),
        "confidence": _array(track.confidence, _SHARE_DECIMALS),
        "motion": track.motion.tolist(),
        "carried_by": track.carried_by.tolist(),
        "scale": track.scale,
        "rivals": plain(track.rivals),
        "motor_ratio": plain(track.motor_ratio),
        "lines": plain(track.lines),
        "steady_lines": plain(track.steady_lines),
        "mains_hz": plain(track.mains_hz),
        "programme_used": track.programme_used,
        "reason": track.reason,
        "remarks": list(track.remarks),
    }


def _phases(cut: PhaseList | None) -> list[dict[str, Any]]:
    """The phases of a service test; empty where none were cut."""
    return [plain(phase) for phase in cut.phases] if cut is not None else []


def _software_version() -> str:
    from spinlab import __version__

    return __version__
