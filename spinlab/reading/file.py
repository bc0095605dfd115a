"""`read`: one file in, one `Recording` out, or one sentence why not."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Literal

from spinlab.errors import InputError, UnreadableRecording, printable
from spinlab.phrase import say
from spinlab.reading.content import SNIFFED_BYTES, content_of, suits_libsndfile
from spinlab.reading.decoded import MINIMUM_DURATION_S, Decoded, UnknownFormatError
from spinlab.reading.media import decode_media
from spinlab.reading.sound import decode_sound
from spinlab.recording import Recording, Source

Progress = Callable[[float], None]
AccelerationUnit = Literal["m/s2", "g"]

_CHANNEL_NAMES = {1: ("mono",), 2: ("left", "right")}


def read(
    path: str | os.PathLike[str],
    *,
    acceleration_unit: AccelerationUnit | None = None,
    rate_hz: float | None = None,
    progress: Progress | None = None,
) -> Recording:
    """Read a sound file, a video's sound track or an acceleration log.

    Args:
        path: the file; its content decides what it is, not its name.
        acceleration_unit: "m/s2" or "g" for logs; otherwise gravity tells.
        rate_hz: samples per second of a log that has no time column.
        progress: called with the share read so far, 0 to 1.

    Raises:
        UnreadableRecording: nothing in the file can be read as sound or acceleration, or it is
            shorter than `MINIMUM_DURATION_S`.
        InputError: the file is missing, a directory or not permitted.
        OutputError: no room for temporary samples.

    A recording that is silent throughout is read like any other: `spinlab.quality` says so.
    """
    if acceleration_unit not in (None, "m/s2", "g"):
        raise InputError(
            say(
                'The acceleration unit is stated as "{acceleration_unit}": state "m/s2" or "g".',
                acceleration_unit=printable(acceleration_unit),
            )
        )
    report = progress or (lambda share: None)
    file = Path(path)
    name = printable(file)
    head, digest = _head_and_digest(file, name)
    content = content_of(head)
    if content == "empty":
        raise UnreadableRecording(say("{name} is empty: copy it again from the phone.", name=name))
    if content == "text":
        from spinlab.reading.log import read_log

        return read_log(
            file,
            name=name,
            sha256=digest,
            acceleration_unit=acceleration_unit,
            rate_hz=rate_hz,
            progress=report,
        )
    return _read_sound(file, name, head, digest, report)


def _read_sound(file: Path, name: str, head: bytes, digest: str, report: Progress) -> Recording:
    decoded = _decode(file, name, head, report)
    length = decoded.samples.shape[1]
    if length < MINIMUM_DURATION_S * decoded.rate_hz:
        raise UnreadableRecording(
            say(
                "{name} lasts only {value:.3f} s (samples: {length}): at least "
                "{minimum_duration_s:g} s is needed, and a whole spin test to judge its "
                "stages.",
                name=name,
                value=length / decoded.rate_hz,
                length=length,
                minimum_duration_s=MINIMUM_DURATION_S,
            )
        )
    channels = decoded.samples.shape[0]
    names = _CHANNEL_NAMES.get(channels) or tuple(f"channel {k + 1}" for k in range(channels))
    return Recording(
        kind="sound",
        samples=decoded.samples,
        rate_hz=decoded.rate_hz,
        start_s=decoded.start_s,
        channel_names=names,
        source=Source(
            file=printable(file.name),
            sha256=digest,
            container=decoded.container,
            codec=decoded.codec,
            bits=decoded.bits,
        ),
        gaps=decoded.gaps,
        remarks=decoded.remarks,
    )


def _decode(file: Path, name: str, head: bytes, report: Progress) -> Decoded:
    """The first decoder's result, or of two that gave up the one that got further."""
    decoders = [decode_sound, decode_media] if suits_libsndfile(head) else [decode_media]
    partial: list[Decoded] = []
    reasons: list[str] = []
    for decode in decoders:
        try:
            decoded = decode(file, progress=report)
        except UnknownFormatError as error:
            reasons.append(error.args[0] if error.args else "")
            continue
        if not decoded.broken:
            return decoded
        partial.append(decoded)
    if partial:
        return max(partial, key=lambda decoded: decoded.samples.shape[1])
    reason = max(reasons, key=len) or say("record again, or copy the original file from the phone")
    raise UnreadableRecording(
        say(
            "{name} holds no sound or acceleration that can be read: {reason}.",
            name=name,
            reason=reason,
        )
    )


def _head_and_digest(file: Path, name: str) -> tuple[bytes, str]:
    """First bytes and SHA-256 of the file, read as a stream."""
    if file.exists() and not file.is_file() and not file.is_dir():
        raise InputError(say("{name} is no ordinary file: name a recording.", name=name))
    if file.is_dir():
        raise InputError(say("{name} is a folder: name one recording in it.", name=name))
    digest = hashlib.sha256()
    try:
        with file.open("rb") as stream:
            head = stream.read(SNIFFED_BYTES)
            digest.update(head)
            while block := stream.read(2**20):
                digest.update(block)
    except FileNotFoundError as error:
        raise InputError(say("{name} does not exist: check the path.", name=name)) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            say("{name} cannot be opened ({reason}).", name=name, reason=printable(reason))
        ) from error
    return head, digest.hexdigest()
