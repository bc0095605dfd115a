"""What can be heard at all: a line by the true angle, and no more in noise than chance allows."""

import numpy as np
import pytest

from tests.benchmarks.audible import OrderSpectrum, order_spectrum, p_value


class Turning:
    """A drum that gains speed slowly: as much of a truth as is asked for."""

    time_s = np.arange(0.0, 8.0, 0.01)
    turns = 15.0 * time_s + 0.05 * time_s**2


RATE_HZ = 4000
TIME_S = np.arange(6 * RATE_HZ) / RATE_HZ


def spectrum_of(sound):
    return order_spectrum(sound, float(RATE_HZ), Turning(), 0.0, 6.0)


def test_a_faint_order_of_a_drum_that_gains_speed_is_one_line():
    # 20 dB below the noise, but 24000 samples of it lie in one line
    noise = np.random.default_rng(1).normal(0.0, 1.0, len(TIME_S))
    turns = np.interp(TIME_S, Turning.time_s, Turning.turns)
    heard = spectrum_of(noise + 0.14 * np.cos(2 * np.pi * 5.0 * turns))
    assert p_value(heard, [4.0, 5.0], 0.0015) < 1e-5
    assert p_value(heard, [4.4, 6.6], 0.0015) > 1e-3


@pytest.mark.parametrize("level", [0.1, 0.01])
def test_noise_stands_out_as_often_as_its_p_value_says(level):
    # power of white noise in a bin over its mean is exponential (Papoulis; value from memory)
    rng = np.random.default_rng(2)
    values = [
        p_value(
            OrderSpectrum(
                order=np.arange(4000) / 90.0, power=rng.exponential(1.0, 4000), rate_hz=15.0
            ),
            [2.0, 3.0, 4.0, 5.0, 6.0, 7.0],
            0.0015,
        )
        for _ in range(1500)
    ]
    share = float(np.mean(np.array(values) < level))
    # the noise beside is known from some 120 bins, and the correction for orders is Bonferroni's
    assert 0.4 * level < share < 2.0 * level
