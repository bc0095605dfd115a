"""Real lossy codecs, by encoding and decoding in memory with PyAV."""

from __future__ import annotations

import io
from fractions import Fraction
from typing import Any

import numpy as np

from spinlab.errors import SpinlabError
from spinlab.simulate.streams import Samples

FORMATS = {
    "aac": ("aac", "mp4"),
    "opus": ("libopus", "ogg"),
    "mp3": ("libmp3lame", "mp3"),
    "amr": ("libopencore_amrnb", "3gp"),
}
# The default search of this encoder is ten times slower and no more telling.
OPTIONS = {"aac": {"aac_coder": "fast"}}
SAME_EACH_TIME = {"fflags": "+bitexact"}  # no random serial numbers, no version strings
LONGEST_DELAY_S = 0.15


def encode(
    samples: Samples, rate_hz: int, codec: str, bit_rate: int, *, container: str = ""
) -> bytes:
    """Samples of shape (channels, n) as the bytes of a file."""
    import av

    name, kind = FORMATS[codec]
    target = io.BytesIO()
    layout = "mono" if samples.shape[0] == 1 else "stereo"
    try:
        with av.open(target, "w", format=container or kind, options=SAME_EACH_TIME) as file:
            stream: Any = file.add_stream(name, rate=rate_hz, options=OPTIONS.get(codec, {}))
            stream.bit_rate = bit_rate
            stream.layout = layout
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(samples), format="fltp", layout=layout
            )
            frame.sample_rate = rate_hz
            # With stamps from 0 the encoder states its own delay, and players honour it.
            frame.pts, frame.time_base = 0, Fraction(1, rate_hz)
            for packet in stream.encode(frame):
                file.mux(packet)
            for packet in stream.encode(None):
                file.mux(packet)
    except av.FFmpegError as problem:
        raise SpinlabError(f"The {codec} codec cannot be used here ({problem}).") from problem
    return target.getvalue()


def decode(content: bytes, rate_hz: int) -> Samples:
    """The sound of a file's bytes at `rate_hz`, shape (channels, m)."""
    import av

    parts: list[np.ndarray] = []
    source: Any = av.open(io.BytesIO(content))
    with source as file:
        stream: Any = file.streams.audio[0]
        resampler = av.AudioResampler(format="fltp", layout=stream.layout, rate=rate_hz)
        for frame in file.decode(stream):
            parts += [part.to_ndarray() for part in resampler.resample(frame)]
        parts += [part.to_ndarray() for part in resampler.resample(None)]
    return np.concatenate(parts, axis=1).astype(np.float32)


def round_trip(samples: Samples, content: bytes, rate_hz: int) -> Samples:
    """What decoding `content` gives back of `samples`, laid under them, the same shape.

    The codec's delay is found by correlation and taken out, as a player does.
    """
    from scipy.signal import correlate

    back = decode(content, rate_hz)
    span = min(samples.shape[1], int(4.0 * rate_hz))
    first = max((samples.shape[1] - span) // 2, 0)
    piece = samples[0, first : first + span]
    reach = int(LONGEST_DELAY_S * rate_hz)
    low = max(first - reach, 0)
    match = correlate(back[0, low : first + span + reach], piece, mode="valid", method="fft")
    delay = int(np.argmax(match)) + low - first
    result = np.zeros_like(samples)
    start, skip = max(-delay, 0), max(delay, 0)
    count = min(samples.shape[1] - start, back.shape[1] - skip)
    result[:, start : start + count] = back[: samples.shape[0], skip : skip + count]
    return result
