"""Long recordings: samples go to an unlinked file on disk, and memory stays bounded."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from spinlab.errors import OutputError
from spinlab.reading import read, store
from spinlab.reading.store import SampleStore


def blocks_of(count: int, channels: int) -> list[np.ndarray]:
    rng = np.random.default_rng(0)
    return [rng.normal(size=(1000, channels)).astype(np.float32) for _ in range(count)]


@pytest.mark.parametrize("channels", [1, 2, 5])
@pytest.mark.parametrize("limit", [0, 50_000, 10**9])
def test_samples_are_the_same_from_memory_and_from_disk(channels: int, limit: int) -> None:
    blocks = blocks_of(30, channels)
    with SampleStore(channels, in_memory_bytes=limit) as samples:
        for block in blocks:
            samples.append(block)
        kept = samples.samples()
    np.testing.assert_array_equal(kept, np.concatenate(blocks).T)
    assert isinstance(kept, np.memmap) == (limit < 10**9)


def test_nothing_is_left_in_the_scratch_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setenv("TMPDIR", str(scratch))
    monkeypatch.setattr(store, "IN_MEMORY_BYTES", 100_000)
    path = tmp_path / "a.wav"
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, size=(480_000, 2))
    soundfile.write(path, noise, 48_000, subtype="FLOAT")
    recording = read(path)
    np.testing.assert_array_equal(recording.samples.T, noise.astype(np.float32))
    assert list(scratch.iterdir()) == []
    read_back = np.concatenate([block for _, block in recording.blocks(1.0)], axis=1)
    np.testing.assert_array_equal(read_back, recording.samples)


def test_a_full_disk_is_one_sentence_and_not_a_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full:
        def write(self, data: object) -> int:
            raise OSError(28, "No space left on device")

        def close(self) -> None:
            pass

    monkeypatch.setattr(store, "IN_MEMORY_BYTES", 100_000)
    monkeypatch.setattr(store.tempfile, "TemporaryFile", lambda **options: Full())
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(480_000), 48_000)
    with pytest.raises(OutputError, match=r"no room .*\(No space left on device\): free some"):
        read(path)


PEAK = """
import resource, sys
import numpy as np
import spinlab.reading.sound, spinlab.reading.media, soundfile, av
from spinlab.quality import assess
from spinlab.reading import read
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
recording = read(sys.argv[1])
assess(recording)
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(recording.samples.nbytes // 2**20, (after - before) // 2**10)
"""


def test_a_long_recording_is_read_and_judged_without_being_held_in_memory(tmp_path: Path) -> None:
    """219 MB of samples; a copy in memory would show as at least that, beyond the libraries."""
    path = tmp_path / "long.wav"
    noise = np.random.default_rng(2).uniform(-0.3, 0.3, size=(60 * 48_000, 4))
    with soundfile.SoundFile(path, "w", 48_000, 4, subtype="PCM_16") as out:
        for _ in range(5):
            out.write(noise)
    done = subprocess.run(
        [sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, check=True
    )
    total_mb, peak_mb = map(int, done.stdout.split())
    assert total_mb > 200
    assert peak_mb < 140
