"""Steps that are written for speed, against the plain way of a reference library."""

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d

from spinlab.speed.chirp import alpha_grid
from spinlab.speed.evidence import LogGrid
from spinlab.speed.family import Family
from spinlab.speed.family_voice import FamilyVoice
from spinlab.speed.frames import blocks
from spinlab.speed.maps import Maps
from spinlab.speed.path import Path, _highest_near
from spinlab.speed.ranks import median, ranked
from spinlab.speed.voices import COMMON_SHARE, chance, gather


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("count", [1, 2, 7, 30])
def test_ranks_and_medians_are_those_of_numpy(count: int, dtype: type):
    power = np.random.default_rng(count).exponential(3.0, (5, 4, count)).astype(dtype)
    power[0, 0] = 0.0
    assert np.array_equal(median(power), np.median(power, axis=-1))
    assert np.array_equal(ranked(power, count // 3), np.sort(power, axis=-1)[..., count // 3])


@pytest.mark.parametrize("cells", [1, 3, 100, 1357])
def test_what_chance_offers_is_the_quantile_of_numpy(cells: int):
    values = np.random.default_rng(cells).normal(size=(3, 19, cells)).astype(np.float32)
    some = values[:, ::2, cells // 4 :: 3].reshape(3, -1)
    assert np.array_equal(chance(values, cells // 4), np.quantile(some, COMMON_SHARE, axis=1))


@pytest.mark.parametrize("reach", [0, 1, 4, 11])
def test_the_highest_nearby_is_that_of_a_maximum_filter(reach: int):
    values = np.random.default_rng(reach).normal(size=200).astype(np.float32)
    filtered = maximum_filter1d(values, 2 * reach + 1, mode="nearest")
    assert np.array_equal(_highest_near(values, reach), filtered)


@pytest.mark.parametrize("as_drum", [True, False])
def test_a_family_says_the_same_along_a_path_as_in_the_search(as_drum: bool):
    rng = np.random.default_rng(7)
    alphas, frames = alpha_grid()[::2], 40
    grid = LogGrid(first_hz=2.0, step=0.02, count=300)
    maps = Maps(
        time_s=0.3 * np.arange(frames),
        alphas=alphas,
        grid=grid,
        lines=rng.normal(0.0, 2.0, (frames, len(alphas), 300)).astype(np.float32),
        modulation=rng.normal(0.0, 2.0, (frames, len(alphas), 200)).astype(np.float32),
        present=np.ones(300, np.float32),
        steady_hz=np.zeros(0),
        lowest_tone_hz=7.0,
    )
    family = Family(offsets=np.array([0, 35, 60]), shares=np.array([0.9, 0.4, 0.2]))
    voice = FamilyVoice.of(family, gather(maps, highest_hz=30.0), as_drum=as_drum)
    alpha = rng.integers(0, len(alphas), frames)
    path = Path(cell=np.zeros(frames, np.int64), alpha=alpha, score=0.0)
    searched = np.concatenate([voice(block) for block in blocks(frames, 8)])
    assert np.array_equal(voice.along(path), searched[np.arange(frames), alpha])
