"""The sound track of videos and compressed sound, by PyAV: MP4/MOV/M4A, 3GP/AMR, WEBM, MP3, CAF.

Every decoded frame is put where the container's clock says, so that a time printed by spinlab is
the time that a player shows.  Encoder delay ("priming", 1024 samples for many AAC encoders) is
taken off by libavcodec where the container states it; edit lists are applied by libavformat.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.reading.decoded import Decoded, UnknownFormatError, shortfall
from spinlab.reading.placing import Placer
from spinlab.reading.repair import Repairs
from spinlab.reading.store import SampleStore
from spinlab.recording import Remark

_BATCH_FRAMES = 2**16
# Containers whose first picture or sound stands at the time they say; players of all others
# start their clock at the first stamp (libavformat: AVFormatContext.start_time).
_ABSOLUTE = {"mov", "mp4", "3gp"}
# What a recorder writes.  Everything else that libavformat would try on unknown bytes (playlists,
# raw and game formats, text art) is refused.
_CONTAINERS = _ABSOLUTE | {
    *("matroska", "webm", "ogg", "opus", "mpegts", "mpeg", "asf", "avi", "flv", "mxf", "nut"),
    *("wav", "w64", "flac", "aiff", "au", "caf", "wv", "tta", "ape", "tak", "mpc", "mpc8"),
    *("mp3", "aac", "loas", "amr", "amrnb", "amrwb", "ac3", "eac3", "dts"),
}
# How far the end may fall short of what was announced before it is called broken off.
_SHORTFALL_S = 0.5


class _Bytes(io.RawIOBase):
    """The file's bytes without its name, so that only content can decide its format."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb", buffering=2**18)

    def read(self, size: int = -1) -> bytes:
        return self._file.read(size)

    def seek(self, offset: int, whence: int = 0) -> int:
        # Broken files send libavformat to places that are none; it expects a refusal, not a raise.
        try:
            return self._file.seek(offset, whence)
        except (OSError, ValueError, OverflowError):
            return -1

    def tell(self) -> int:
        return self._file.tell()

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def close(self) -> None:
        self._file.close()
        super().close()


def decode_media(path: Path, *, progress: Callable[[float], None]) -> Decoded:
    """Decode the sound track with PyAV, block by block.

    Raises:
        UnknownFormatError: there is no sound track that PyAV can decode; the error says why where
            the user can do something about it.
        OutputError: no room for temporary samples.
    """
    import av

    with _Bytes(path) as source:
        try:
            container = av.open(source, mode="r", metadata_errors="replace")
        except (av.FFmpegError, OSError, ValueError, OverflowError) as error:
            raise UnknownFormatError(_why_not(path)) from error
        with container:
            if not _CONTAINERS & set(container.format.name.split(",")):
                raise UnknownFormatError
            return _decode(container, _sound_track(container), progress)


def _why_not(path: Path) -> str:
    with path.open("rb") as stream:
        head = stream.read(12)
    if head[4:8] in (b"ftyp", b"mdat", b"wide", b"free", b"skip"):
        return say(
            "its index is missing, as when a phone stops before the recording was saved: "
            "repair it on the phone, or record again"
        )
    return ""


def _sound_track(container: Any) -> Any:
    """The container's sound track that players choose."""
    tracks = container.streams.audio
    if not tracks:
        raise UnknownFormatError(
            say("it has no sound track: record with the microphone on, or hand in a log")
            if container.streams.video
            else ""
        )
    best = container.streams.best("audio")
    return best if best is not None else tracks[0]


def _decode(container: Any, track: Any, progress: Callable[[float], None]) -> Decoded:
    frames = _Frames(container, track, progress)
    first = next(iter(frames), None)
    if first is None:
        raise UnknownFormatError(
            say("its sound track cannot be decoded: copy the original file again")
        )
    channels, rate_hz = len(first.layout.channels), first.sample_rate
    repairs = Repairs(rate_hz=rate_hz)
    with SampleStore(channels) as store:
        placer = Placer(rate_hz=rate_hz, origin_s=_origin_s(container))
        for block in _batches(frames.from_first(first), placer, channels):
            store.append(repairs.mend(block))
        found_s = placer.start_s + store.frames / rate_hz
        return Decoded(
            samples=store.samples(),
            rate_hz=float(rate_hz),
            start_s=placer.start_s,
            container=container.format.name.split(",")[0],
            codec=track.codec_context.name,
            bits=_bits(track),
            gaps=placer.gaps() + repairs.gaps(placer.start_s),
            remarks=repairs.remarks()
            + placer.remarks()
            + frames.remarks(found_s)
            + _tracks_remark(container),
        )


def _batches(frames: Iterator[Any], placer: Placer, channels: int) -> Iterator[NDArray[np.float32]]:
    """Frames put in their places, joined to blocks worth the trouble of storing."""
    batch: list[NDArray[np.float32]] = []
    held = 0
    for frame in frames:
        placed = placer.place(_samples(frame, channels), frame.time)
        batch.extend(placed)
        held += sum(map(len, placed))
        if held >= _BATCH_FRAMES:
            yield np.concatenate(batch)
            batch, held = [], 0
    if batch:
        yield np.concatenate(batch)


def _origin_s(container: Any) -> float:
    """Where on the container's stamps a player's clock starts."""
    if _ABSOLUTE & set(container.format.name.split(",")) or container.start_time is None:
        return 0.0
    return max(0.0, float(container.start_time) / 1e6)


def _bits(track: Any) -> int | None:
    """Word length where the codec keeps every bit, None where it is lossy."""
    codec = track.codec_context
    lossless = codec.codec.lossless and not codec.codec.lossy
    return int(codec.format.bits) if lossless else None


def _tracks_remark(container: Any) -> tuple[Remark, ...]:
    count = len(container.streams.audio)
    if count < 2:
        return ()
    return (
        Remark(
            what=f"The file has {count} sound tracks.",
            consequence="Only the one that players choose is analysed.",
        ),
    )


def _samples(frame: Any, channels: int) -> NDArray[np.float32]:
    """One frame as float32 of full scale 1, shape (n, channels)."""
    data: NDArray[Any] = frame.to_ndarray()
    data = data.T if frame.format.is_planar else data.reshape(-1, channels)
    if data.dtype == np.uint8:
        data = data / np.float32(128) - np.float32(1)
    elif np.issubdtype(data.dtype, np.integer):
        data = data / -float(np.iinfo(data.dtype).min)
    return data.astype(np.float32, copy=False)


class _Frames:
    """Decoded frames of one track; damaged packets are skipped and counted."""

    def __init__(self, container: Any, track: Any, progress: Callable[[float], None]) -> None:
        self._container = container
        self._track = track
        self._progress = progress
        self._damaged = 0
        self._changed = ""
        self._iterator = self._decoded()
        length = track.duration * track.time_base if track.duration else None
        self.announced_s = float(length) if length else (container.duration or 0) / 1e6

    def __iter__(self) -> Iterator[Any]:
        return self._iterator

    def from_first(self, first: Any) -> Iterator[Any]:
        """The frame already taken and all that follow in the same rate and layout."""
        shape = (first.sample_rate, len(first.layout.channels))
        yield first
        for frame in self._iterator:
            if (frame.sample_rate, len(frame.layout.channels)) != shape:
                self._changed = f"{frame.time or 0:.2f} s"
                return
            if self.announced_s and frame.time is not None:
                self._progress(min(1.0, max(0.0, frame.time / self.announced_s)))
            yield frame

    def remarks(self, found_s: float) -> tuple[Remark, ...]:
        """What was damaged, changed or missing."""
        found: list[Remark] = []
        if self._damaged:
            found.append(
                Remark(
                    what=f"Damaged packets of sound: {self._damaged}.",
                    consequence="They are silent here, and listed as gaps where long enough.",
                )
            )
        if self._changed:
            found.append(
                Remark(
                    what=f"Rate or channels change at {self._changed}.",
                    consequence="What follows is not analysed: cut the file there, run it as well.",
                )
            )
        elif found_s < self.announced_s - _SHORTFALL_S:
            found.append(shortfall(self.announced_s, found_s))
        return tuple(found)

    def _decoded(self) -> Iterator[Any]:
        import av

        packets = self._container.demux(self._track)
        while True:
            try:
                packet = next(packets)
            except (StopIteration, av.FFmpegError):
                return
            try:
                yield from packet.decode()
            except av.FFmpegError:
                self._damaged += 1
