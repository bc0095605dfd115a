"""Whatever is broken in a file, it is read or refused in one sentence; nothing crashes or hangs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from spinlab.errors import SpinlabError
from spinlab.quality import assess
from spinlab.reading import read
from spinlab.reading.placing import Placer
from tests.reading.clips import clicks, encode
from tests.reading.logtext import shaken, write_rows

NOISE = np.random.default_rng(3).uniform(-0.5, 0.5, size=96_000)


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """Bytes changed, cut, put in, zeroed or set; mostly near the beginning, where headers are."""
    broken = bytearray(data)
    for _ in range(rng.choice([1, 1, 3, 20, 200])):
        place = int(rng.integers(min(len(broken), rng.choice([100, 2000, len(data)]))))
        kind = rng.integers(5)
        if kind == 0:
            broken[place] = rng.integers(256)
        elif kind == 1:
            del broken[place : place + int(rng.integers(50))]
        elif kind == 2:
            broken[place:place] = rng.bytes(int(rng.integers(50)))
        elif kind == 3:
            broken[place : place + 4] = b"\xff\xff\xff\xff"
        else:
            broken[place : place + 8] = bytes(8)
    return bytes(broken)


def originals(folder: Path) -> list[Path]:
    for name in ("a.wav", "a.flac", "a.ogg", "a.aiff", "a.caf", "a.w64"):
        soundfile.write(folder / name, NOISE, 48_000)
    for name, codec in (("a.m4a", "aac"), ("a.mp3", "libmp3lame"), ("a.webm", "libopus")):
        encode(folder / name, codec, 48_000, clicks(48_000))
    write_rows(folder / "a.csv", shaken(100.0, 20), header="t,x,y,z")
    write_rows(folder / "b.csv", shaken(100.0, 20), header="t;x;y;z", separator=";", decimal=",")
    return sorted(folder.iterdir())


def test_a_file_with_broken_bytes_is_read_or_refused(tmp_path: Path) -> None:
    rng = np.random.default_rng(11)
    (tmp_path / "whole").mkdir()
    path = tmp_path / "broken"
    refusals: list[str] = []
    read_anyway = 0
    for original in originals(tmp_path / "whole"):
        for _ in range(12):
            path.write_bytes(mutated(original.read_bytes(), rng))
            try:
                recording = read(path)
            except SpinlabError as error:
                refusals.append(str(error))
            else:
                read_anyway += 1
                assert np.isfinite(recording.samples).all()
                assess(recording)
    assert all(sentence.isprintable() and sentence.endswith(".") for sentence in refusals)
    assert min(len(refusals), read_anyway) > 10


def test_stamps_that_leap_wildly_do_not_make_hours_of_silence_out_of_nothing() -> None:
    placer = Placer(rate_hz=1000.0, origin_s=0.0)
    sample = np.ones((1, 1), dtype=np.float32)
    kept = [part for k in range(500) for part in placer.place(sample, 170.0 * k)]
    assert sum(map(len, kept)) == 500
    assert any("Leaps" in remark.what for remark in placer.remarks())


@pytest.mark.parametrize("quote", ['"', "'"])
def test_a_quote_without_its_partner_costs_one_line_at_most(tmp_path: Path, quote: str) -> None:
    path = write_rows(tmp_path / "a.csv", shaken(100.0, 20), header="t,x,y,z")
    lines = path.read_text().splitlines()
    lines[700] = lines[700].replace(",", f",{quote}", 1)
    path.write_text("\n".join(lines))
    recording = read(path)
    assert recording.length == 2000
