"""Half precision: read by hand as NumPy reads it, and rounded alike in short recordings."""

import numpy as np
import pytest

from spinlab.speed.frames import FEW_FRAMES, put, room, single


def evidence() -> np.ndarray:
    """Numbers of the size that evidence has, and some that lie half-way between two halves."""
    rng = np.random.default_rng(5)
    some = rng.normal(0.0, 4.0, (FEW_FRAMES + 1, 40)).astype(np.float32)
    some[0, :4] = 0.0, 1.0 + 2.0**-11, 1.0 + 3 * 2.0**-11, -5.0
    return some


def test_half_precision_is_read_as_numpy_reads_it():
    every = np.arange(2**16, dtype=np.uint16).view(np.float16)
    finite = every[np.isfinite(every)]
    assert np.array_equal(single(finite), finite.astype(np.float32))


def test_few_frames_are_told_the_same_as_many():
    values = evidence()
    many, few = room(*values.shape), room(FEW_FRAMES, values.shape[1])
    put(values, many)
    put(values[:FEW_FRAMES], few)
    assert few.dtype == np.float32
    assert single(few) == pytest.approx(single(many[:FEW_FRAMES]), abs=1e-7)
