"""A copy of a recording's sound for the browser's player: AAC, which every phone plays.

Unlike the sound within a report's page, this one has a file of its own and may be of any length.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from spinlab.recording import Recording

_BITS_PER_SECOND = 96_000
# Sampling rates of AAC (ISO/IEC 14496-3, table 1.18) from 8 kHz up to what a phone records.
_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_BLOCK_S = 10.0


def write_listening_copy(recording: Recording, target: Path) -> None:
    """Write the sound as mono AAC, its index in front so that playing can start anywhere."""
    import av

    rate_hz = next((rate for rate in _RATES_HZ if rate >= recording.rate_hz), _RATES_HZ[-1])
    with av.open(str(target), "w", format="mp4", options={"movflags": "faststart"}) as container:
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
            position += mono.shape[1]
            for piece in resampler.resample(frame):
                container.mux(track.encode(piece))
        for piece in resampler.resample(None):
            container.mux(track.encode(piece))
        container.mux(track.encode(None))
