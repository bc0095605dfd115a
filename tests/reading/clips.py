"""Invented sound with clicks at known times, and a small encoder for containers of all kinds."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

CLICKS_S = (0.5, 2.25, 4.0)
SECONDS = 6.0


def clicks(rate_hz: int, *, times_s: tuple[float, ...] = CLICKS_S) -> NDArray[np.float32]:
    """Short bursts of 1.5 kHz at the given times over faint noise, shape (n,)."""
    sound = 0.0005 * np.random.default_rng(1).normal(size=round(rate_hz * SECONDS))
    for time in times_s:
        first = round(time * rate_hz)
        sound[first : first + len(_burst(rate_hz))] += _burst(rate_hz)
    return sound.astype(np.float32)


def _burst(rate_hz: float) -> NDArray[np.float64]:
    k = np.arange(round(0.004 * rate_hz))
    return 0.8 * np.exp(-k / (0.001 * rate_hz)) * np.sin(2 * np.pi * 1500 * k / rate_hz)


def found_clicks(
    samples: NDArray[np.float32], rate_hz: float, start_s: float, expected_s: tuple[float, ...]
) -> list[float]:
    """Times on the file's clock at which the burst matches best, within 0.2 s of each expected."""
    found = []
    for time in expected_s:
        first = max(0, round((time - 0.2 - start_s) * rate_hz))
        part = samples[first : round((time + 0.2 - start_s) * rate_hz)]
        match = np.abs(np.correlate(part, _burst(rate_hz).astype(np.float32), "valid"))
        found.append(start_s + (first + int(match.argmax())) / rate_hz)
    return found


def encode(
    path: Path,
    codec: str,
    rate_hz: int,
    sound: NDArray[np.float32],
    *,
    container: str | None = None,
    pictures: str | None = None,
    begin_s: float = 0.0,
    bit_rate: int | None = None,
    options: dict[str, str] | None = None,
    lost: range = range(0),
) -> Path:
    """Write mono sound with PyAV; `begin_s` shifts it on the container's clock.

    `pictures` names a video codec for a track of grey pictures from time 0; packets of sound
    whose numbers are in `lost` are never written.
    """
    import av

    with av.open(str(path), "w", format=container, options=options or {}) as out:
        video = out.add_stream(pictures, rate=10) if pictures else None
        if video is not None:
            video.width, video.height, video.pix_fmt = 64, 64, "yuv420p"
        track = out.add_stream(codec, rate=rate_hz, layout="mono")
        if bit_rate:
            track.bit_rate = bit_rate
        if video is not None:
            _write_pictures(out, video, round(SECONDS * 10))
        convert = av.AudioResampler(
            format=track.codec_context.format.name, layout="mono", rate=rate_hz
        )
        number = 0
        for frame in [*_frames(sound, rate_hz, begin_s), None]:
            pieces = convert.resample(frame) if frame is not None else [None]
            for piece in pieces:
                for packet in track.encode(piece):
                    if number not in lost:
                        out.mux(packet)
                    number += 1
    return path


def _frames(sound, rate_hz, begin_s):
    import av

    for first in range(0, len(sound), 1024):
        part = np.ascontiguousarray(sound[first : first + 1024])[None]
        frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
        frame.sample_rate = rate_hz
        frame.pts = first + round(begin_s * rate_hz)
        frame.time_base = Fraction(1, rate_hz)
        yield frame


def _write_pictures(out, video, count):
    import av

    for k in range(count):
        grey = np.full((64, 64, 3), k % 255, dtype=np.uint8)
        frame = av.VideoFrame.from_ndarray(grey, format="rgb24")
        frame.pts = k
        for packet in video.encode(frame):
            out.mux(packet)
    for packet in video.encode(None):
        out.mux(packet)
