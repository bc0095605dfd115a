"""The recording's sound, packed small enough to travel inside a page.

AAC in an MP4 container, because every phone's browser plays it.  The original file is not touched,
and the level is kept, so that what is heard is what was recorded.
"""

from __future__ import annotations

import base64
import io
from typing import Any

import numpy as np

from spinlab.recording import Recording

MEDIA_TYPE = "audio/mp4"
# Longer sound would make a page too heavy to send: five minutes are about 3 MB.
LONGEST_SOUND_S = 300.0
_BITS_PER_SECOND = 64_000
# Sampling rates of AAC (ISO/IEC 14496-3, table 1.18) from 8 kHz up to what a phone records.
_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_BLOCK_S = 10.0


def sound_uri(recording: Recording) -> str | None:
    """The sound as a `data:` address, or None where there is none or too much of it.

    Args:
        recording: any recording; several channels are mixed to one.
    """
    if recording.kind != "sound" or recording.duration_s > LONGEST_SOUND_S:
        return None
    return f"data:{MEDIA_TYPE};base64,{base64.b64encode(_packed(recording)).decode('ascii')}"


def _packed(recording: Recording) -> bytes:
    import av

    stream = io.BytesIO()
    rate_hz = next((rate for rate in _RATES_HZ if rate >= recording.rate_hz), _RATES_HZ[-1])
    with av.open(stream, "w", format="mp4") as container:
        track: Any = container.add_stream("aac", rate=rate_hz, layout="mono")
        track.bit_rate = _BITS_PER_SECOND
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=rate_hz)
        position = 0
        for _, block in recording.blocks(_BLOCK_S):
            mono = np.clip(np.nan_to_num(block.mean(axis=0, keepdims=True)), -1.0, 1.0)
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(mono, dtype=np.float32), format="fltp", layout="mono"
            )
            frame.sample_rate = round(recording.rate_hz)
            frame.pts = position
            position += block.shape[1]
            _encode(container, track, resampler.resample(frame))
        _encode(container, track, resampler.resample(None))
        container.mux(track.encode(None))
    return stream.getvalue()


def _encode(container: Any, track: Any, frames: Any) -> None:
    for frame in frames:
        container.mux(track.encode(frame))
