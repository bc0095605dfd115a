"""The open bearing rigs: their files, speeds, bearings and truth, as published.

CWRU: Bearing Data Center, 12 000 samples a second, NumPy copy; the name says rpm, fault, size in
thousandths of an inch, end.  MFPT: 48 828 samples a second, 25 Hz shaft; the fault is the file's
name.  Accelerations in g.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spinlab.bearings import BearingGeometry, MountedBearing, catalogue
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

STANDARD_GRAVITY = 9.80665
CWRU_RATE_HZ = 12_000.0
# How well a rig's stated speed is known: CWRU prints whole rpm (+-0.03 %), MFPT a nominal one.
SPEED_UNCERTAINTY = 0.003

CWRU_BEARINGS = (
    MountedBearing(
        name="drive end bearing", geometry=catalogue.lookup("6205-2RS (CWRU drive end)")
    ),
    MountedBearing(name="fan end bearing", geometry=catalogue.lookup("6203-2RS (CWRU fan end)")),
)
# 0.235 in and 1.245 in, 8 balls: the orders stored in the files follow from it.
MFPT_BEARINGS = (
    MountedBearing(
        name="rig bearing",
        geometry=BearingGeometry(
            designation="MFPT rig",
            balls=8,
            ball_diameter_mm=5.969,
            pitch_diameter_mm=31.623,
            tolerance=0.001,
            exact=True,
            source="orders stored in the open MFPT files",
        ),
    ),
)


@dataclass(frozen=True, kw_only=True)
class RigRecord:
    """One channel of one file with what is known about it.

    `fault` is "outer race", "inner race", "ball" or "none"; `place` the bearing it is in.
    """

    name: str
    recording: Recording
    speed_rpm: float
    bearings: tuple[MountedBearing, ...]
    fault: str
    place: str

    @property
    def track(self) -> SpeedTrack:
        """The rig's constant speed as a track made by hand."""
        return constant_track(self.speed_rpm, self.recording.duration_s)


def constant_track(
    speed_rpm: float, duration_s: float, *, uncertainty: float = SPEED_UNCERTAINTY
) -> SpeedTrack:
    """A speed that does not change, known to a relative standard uncertainty."""
    time = np.arange(0.0, duration_s + 0.05, 0.1)
    n = len(time)
    return SpeedTrack(
        time_s=time,
        speed_rpm=np.full(n, speed_rpm),
        standard_uncertainty_rpm=np.full(n, uncertainty * speed_rpm),
        confidence=np.ones(n),
        motion=np.full(n, "plateau"),
        carried_by=np.full(n, "given"),
    )


def cwru_records(path: Path, *, rate_hz: float = CWRU_RATE_HZ) -> list[RigRecord]:
    """One record per channel of a CWRU file."""
    speed, kind = path.stem.split("_")[:2]
    fault = {"IR": "inner race", "OR": "outer race", "B": "ball", "Normal": "none"}[
        kind.split("@")[0]
    ]
    place = "fan end bearing" if "_FE" in path.stem else "drive end bearing"
    with np.load(path) as data:
        channels = {key: np.asarray(data[key], float).ravel() for key in data.files}
    return [
        RigRecord(
            name=f"{path.stem} {key}",
            recording=_recording(values, rate_hz, path.name),
            speed_rpm=float(speed),
            bearings=CWRU_BEARINGS,
            fault=fault,
            place=place,
        )
        for key, values in channels.items()
    ]


def mfpt_record(path: Path) -> RigRecord:
    """The record of an MFPT file."""
    from scipy.io import loadmat

    bearing = loadmat(path)["bearing"][0, 0]
    fault = "none"
    if path.stem.lower().startswith("inner"):
        fault = "inner race"
    elif path.stem.lower().startswith("outer"):
        fault = "outer race"
    rate_hz = float(bearing["sr"].ravel()[0])
    return RigRecord(
        name=path.stem,
        recording=_recording(bearing["gs"].ravel(), rate_hz, path.name),
        speed_rpm=60.0 * float(bearing["rate"].ravel()[0]),
        bearings=MFPT_BEARINGS,
        fault=fault,
        place="rig bearing",
    )


def _recording(values, rate_hz: float, file: str) -> Recording:
    from spinlab.recording import Source

    return Recording(
        kind="acceleration",
        samples=(np.asarray(values, float)[None, :] * STANDARD_GRAVITY).astype(np.float32),
        rate_hz=rate_hz,
        channel_names=("housing",),
        source=Source(file=file, sha256=""),
    )
