"""The recording's sound, packed small enough to travel inside a page.

AAC in an MP4 container, because every phone's browser plays it.  The original file is not touched,
and the level is kept, so that what is heard is what was recorded.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.clips import clips, heard
from spinlab.recording import Recording
from spinlab.report.language import tell
from spinlab.report.words import clock, number
from spinlab.result import Analysed

MEDIA_TYPE = "audio/mp4"
# Longer sound would make a page too heavy to send: five minutes are about 3 MB.
LONGEST_SOUND_S = 300.0
_BITS_PER_SECOND, _BITS_PER_SAMPLE = 64_000, 4
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
    mixed = (block.mean(axis=0, keepdims=True) for _, block in recording.blocks(_BLOCK_S))
    return _uri(_packed(mixed, recording.rate_hz))


def clip_players(analysis: Analysed) -> dict[int | None, tuple[dict[str, Any], ...]]:
    """Every clip, ready to be played in a page.

    Returns:
        Index of the finding, or None for the lines of the recording -> its clips, each with its
        words, its address, and how its own time maps to the file's clock.
    """
    found: dict[int | None, tuple[dict[str, Any], ...]] = {}
    for clip in clips(analysis):
        finished = heard(analysis.recording, analysis.track, clip)
        player = {
            "uri": _uri(_packed([finished.samples[np.newaxis]], finished.rate_hz)),
            "words": tell(clip.words),
            "start_s": round(clip.start_s, 3),
            "start": clock(clip.start_s),
            "pace": clip.pace,
            "gain": number(finished.gain_db, 0, sign=True),
            "apart": clip.band_hz is not None or clip.order is not None,
        }
        found[clip.finding] = (*found.get(clip.finding, ()), player)
    return found


def _uri(packed: bytes) -> str:
    return f"data:{MEDIA_TYPE};base64,{base64.b64encode(packed).decode('ascii')}"


def _packed(blocks: Iterable[NDArray[np.float32]], rate_hz: float) -> bytes:
    """Blocks of shape (1, m) as AAC."""
    import av

    stream = io.BytesIO()
    coded_hz = next((rate for rate in _RATES_HZ if rate >= rate_hz), _RATES_HZ[-1])
    with av.open(stream, "w", format="mp4") as container:
        track: Any = container.add_stream("aac", rate=coded_hz, layout="mono")
        track.bit_rate = min(_BITS_PER_SECOND, _BITS_PER_SAMPLE * coded_hz)
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=coded_hz)
        position = 0
        for block in blocks:
            mono = np.clip(np.nan_to_num(block), -1.0, 1.0)
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(mono, dtype=np.float32), format="fltp", layout="mono"
            )
            frame.sample_rate = round(rate_hz)
            frame.pts = position
            position += block.shape[1]
            _encode(container, track, resampler.resample(frame))
        _encode(container, track, resampler.resample(None))
        container.mux(track.encode(None))
    return stream.getvalue()


def _encode(container: Any, track: Any, frames: Any) -> None:
    for frame in frames:
        container.mux(track.encode(frame))
