"""A simulated recording as files: the sound or the log, and its truth as JSON beside it."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import numpy as np

from spinlab.errors import InputError, OutputError
from spinlab.simulate.simulator import Simulated

SUFFIXES = {"aac": ".m4a", "opus": ".ogg", "mp3": ".mp3", "amr": ".3gp"}
SoundFormat = Literal["wav", "flac"]


def write_simulated(
    made: Simulated, folder: Path, stem: str, *, sound_format: SoundFormat = "flac"
) -> tuple[Path, Path]:
    """Write `stem` + recording suffix and `stem`.truth.json; returns both paths.

    Sound that went through a lossy codec is written as that codec's file, other sound as 16-bit
    WAV or FLAC, acceleration as CSV.  Each file appears whole or not at all.

    Raises:
        OutputError: a file cannot be written.
        InputError: the format does not take this sample rate.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if made.log is not None:
            path = folder / f"{stem}.csv"
            _whole(path, lambda part: part.write_text(log_text(made), "utf-8"))
        elif made.encoded is not None:
            content = made.encoded
            path = folder / f"{stem}{SUFFIXES[made.truth.parameters.phone.codec]}"
            _whole(path, lambda part: part.write_bytes(content))
        else:
            path = folder / f"{stem}.{sound_format}"
            _whole(path, lambda part: _write_sound(made, part, sound_format))
        truth_path = folder / f"{stem}.truth.json"
        text = json.dumps(made.truth.to_json(), indent=None, separators=(",", ":")) + "\n"
        _whole(truth_path, lambda part: part.write_text(text, "utf-8"))
    except OSError as problem:
        raise OutputError(
            f"Nothing can be written to {folder}: {problem.strerror or problem}; "
            "choose another folder."
        ) from problem
    return path, truth_path


def _whole(path: Path, write: Callable[[Path], object]) -> None:
    """Write beside the goal, then move into place."""
    part = path.with_name(path.name + ".part")
    try:
        write(part)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def _write_sound(made: Simulated, path: Path, sound_format: str) -> None:
    import soundfile

    recording = made.recording
    try:
        soundfile.write(
            path,
            np.rint(recording.samples.T * 32768.0).clip(-32768, 32767).astype(np.int16),
            round(recording.rate_hz),
            subtype="PCM_16",
            format=sound_format.upper(),
        )
    except soundfile.LibsndfileError as problem:
        if not path.parent.is_dir() or not os.access(path.parent, os.W_OK):
            raise OSError(str(problem)) from problem
        raise InputError(
            f"{sound_format.upper()} does not take {recording.rate_hz:g} samples per second: "
            "choose a usual rate from 8000 to 192000."
        ) from problem


def log_text(made: Simulated) -> str:
    """An acceleration log as an app writes it: seconds and m/s2, comma and decimal point."""
    assert made.log is not None
    step = made.truth.parameters.logger.stamp_step_s
    digits = 6 if not step else max(0, round(-float(np.log10(step))))
    lines = ["time_s,x_m_s2,y_m_s2,z_m_s2"]
    lines += [
        f"{t:.{digits}f},{x:.4f},{y:.4f},{z:.4f}"
        for t, (x, y, z) in zip(made.log.stamp_s, made.log.acceleration_m_s2.T, strict=True)
    ]
    return "\n".join(lines) + "\n"
