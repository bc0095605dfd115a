"""Sound files that libsndfile reads: WAV, FLAC, OGG (Vorbis, Opus), MP3, AIFF, CAF and kin."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinlab.reading.repair import Repairs
from spinlab.reading.store import SampleStore
from spinlab.recording import Gap, Remark

BLOCK_VALUES = 2**20  # samples over all channels in one decoded block: 4 MB of float32
_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
_BITS |= {"FLOAT": 32, "DOUBLE": 64, "ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32}


@dataclass(frozen=True, kw_only=True, eq=False)
class Decoded:
    """Samples with all that the decoder knows of them."""

    samples: NDArray[np.float32]
    rate_hz: float
    start_s: float
    container: str
    codec: str
    bits: int | None
    gaps: tuple[Gap, ...] = ()
    remarks: tuple[Remark, ...] = ()


class NotThisDecoder(Exception):
    """The decoder does not know this kind of file: the next one may."""


def decode_sound(path: Path, *, progress: Callable[[float], None]) -> Decoded:
    """Decode a file with libsndfile, block by block.

    Raises:
        NotThisDecoder: libsndfile does not recognise the file.
    """
    import soundfile

    try:
        file = soundfile.SoundFile(path)
    except (soundfile.LibsndfileError, TypeError) as error:
        raise NotThisDecoder(str(error)) from error
    with file, SampleStore(file.channels) as store:
        repairs = Repairs(rate_hz=file.samplerate)
        declared = file.frames
        frames = max(1, BLOCK_VALUES // file.channels)
        broken = ""
        while True:
            try:
                block = file.read(frames, dtype="float32", always_2d=True)
            except soundfile.LibsndfileError as error:
                broken = str(error)
                break
            if not len(block):
                break
            store.append(repairs.mend(block))
            progress(min(1.0, store.frames / max(declared, 1)))
        remarks = repairs.remarks() + _shortfall(declared, store.frames, file.samplerate, broken)
        return Decoded(
            samples=store.samples(),
            rate_hz=float(file.samplerate),
            start_s=0.0,
            container=file.format,
            codec=file.subtype,
            bits=_BITS.get(file.subtype),
            gaps=repairs.gaps(),
            remarks=remarks,
        )


def _shortfall(declared: int, found: int, rate_hz: float, broken: str) -> tuple[Remark, ...]:
    if found >= declared and not broken:
        return ()
    return (
        Remark(
            what=f"the file ends or breaks after {found / rate_hz:.2f} s, "
            f"where its header promises {declared / rate_hz:.2f} s",
            consequence="only the part that could be read is analysed; whatever came later "
            "cannot be judged",
        ),
    )
