"""Sound files that libsndfile reads: WAV, FLAC, OGG (Vorbis, Opus), AIFF, CAF and kin."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from spinlab.reading.content import lacks_ogg_end
from spinlab.reading.decoded import Decoded, UnknownFormatError, shortfall
from spinlab.reading.repair import Repairs
from spinlab.reading.store import SampleStore
from spinlab.recording import Remark

BLOCK_VALUES = 2**20  # samples over all channels in one decoded block: 4 MB of float32
_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
_BITS |= {"FLOAT": 32, "DOUBLE": 64, "ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32}
# libsndfile's log of a WAV or AIFF whose sound chunk promises more bytes than the file has.
_PROMISED = re.compile(r"^\s*(?:data|SSND)\s*:\s*(\d+) \(should be (\d+)\)", re.M)
# A recorder that could not seek back leaves this as the size: it promises nothing.
_UNKNOWN_SIZES = (0, 0x7FFFFFFF, 0x7FFFF000, 0x80000000)


def decode_sound(path: Path, *, progress: Callable[[float], None]) -> Decoded:
    """Decode a file with libsndfile, block by block.

    Raises:
        UnknownFormatError: libsndfile does not recognise the file.
        OutputError: no room for temporary samples.
    """
    import soundfile

    try:
        file = soundfile.SoundFile(_address(path))
    except (soundfile.LibsndfileError, TypeError) as error:
        raise UnknownFormatError from error
    with file, SampleStore(file.channels) as store:
        repairs = Repairs(rate_hz=file.samplerate)
        broken = _copy(file, store, repairs, progress)
        if not store.frames:
            raise UnknownFormatError
        return Decoded(
            samples=store.samples(),
            rate_hz=float(file.samplerate),
            container=file.format,
            codec=file.subtype,
            bits=_BITS.get(file.subtype),
            gaps=repairs.gaps(),
            remarks=repairs.remarks() + _ends_early(file, store.frames, broken) + _cut_ogg(path),
            broken=broken,
        )


def _address(path: Path) -> str | bytes:
    """The absolute path, so that a file called "-" is no standard input; bytes where names are."""
    full = os.path.abspath(path)
    return os.fsencode(full) if os.name == "posix" else full


def _copy(
    file: Any, store: SampleStore, repairs: Repairs, progress: Callable[[float], None]
) -> bool:
    """Move all blocks into the store; True if the decoder gave up before the end."""
    import soundfile

    frames = max(1, BLOCK_VALUES // file.channels)
    while True:
        try:
            block = file.read(frames, dtype="float32", always_2d=True)
        except soundfile.LibsndfileError:
            return True
        if not len(block):
            return False
        store.append(repairs.mend(block))
        progress(min(1.0, store.frames / max(file.frames, 1)))


def _ends_early(file: Any, found: int, broken: bool) -> tuple[Remark, ...]:
    declared = file.frames
    if promised := _PROMISED.search(file.extra_info):
        size, there = int(promised[1]), int(promised[2])
        if size not in _UNKNOWN_SIZES and size < 0xFFFFF000 and there:
            declared = round(found * size / there)
    if found >= declared and not broken:
        return ()
    return (shortfall(declared / file.samplerate, found / file.samplerate),)


def _cut_ogg(path: Path) -> tuple[Remark, ...]:
    if not lacks_ogg_end(path):
        return ()
    return (
        Remark(
            what="The file lacks its closing page, as when it was cut or not saved to its end.",
            consequence="What came later, if anything, is not judged.",
        ),
    )
