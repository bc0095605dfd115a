"""Plateaus read as a whole, against the Cramer-Rao bound and where no phase is kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.speed.bands import Band
from spinlab.speed.zoom import CUT_S, zoom
from tests.benchmarks.bound import fundamental_variance

RATE_HZ = 1000.0
ORDERS = np.arange(1.0, 8.0)
HOP_S = 0.3


def plateau(rate_hz, seconds, rng, *, noise=0.5):
    """A band with the drum's first seven orders at a rate given per sample, in white noise."""
    turns = np.cumsum(np.broadcast_to(rate_hz, round(seconds * RATE_HZ))) / RATE_HZ
    phases = rng.uniform(0, 2 * np.pi, len(ORDERS))
    sound = sum(np.cos(2 * np.pi * k * turns + p) for k, p in zip(ORDERS, phases, strict=True))
    sound = sound + noise * rng.standard_normal(len(turns))
    return Band(
        signal=sound.astype(np.float32),
        rate_hz=RATE_HZ,
        low_hz=7.0,
        high_hz=420.0,
        frame_s=1.0,
        follow_s=1.2,
    )


def read(band, rate_hz, rng):
    """The zoom of a plateau whose frames scatter by 0.05 % about a rate."""
    time_s = np.arange(0.15, len(band.signal) / RATE_HZ, HOP_S)
    log_hz = np.log(rate_hz) + 5e-4 * rng.standard_normal(len(time_s))
    run = np.zeros(len(time_s), np.int64)
    return zoom((band,), 0.0, time_s, log_hz, run, ORDERS, steady_hz=np.zeros(0)), log_hz


def test_the_error_of_the_mean_is_that_of_the_cramer_rao_bound():
    # Bound: Kay, Modern Spectral Estimation (1988), for harmonics; checked against the numeric
    # Fisher matrix in tests/benchmarks/test_bound.py.
    rng = np.random.default_rng(1)
    true_hz, seconds, noise = 17.3, 8.0, 2.0
    errors, stated = [], []
    for _ in range(40):
        found, _ = read(plateau(true_hz, seconds, rng, noise=noise), true_hz, rng)
        ((_, log_hz, sigma),) = found.wholes
        errors.append(float(np.exp(log_hz)) / true_hz - 1)
        stated.append(sigma)
    used = round((seconds - 2 * CUT_S - HOP_S) * RATE_HZ)
    variance = fundamental_variance(ORDERS, np.ones(len(ORDERS)), noise**2, RATE_HZ, used)
    bound = np.sqrt(variance) / true_hz
    root_mean_square = float(np.sqrt(np.mean(np.square(errors))))
    assert bound * 0.7 < root_mean_square < bound * 1.5
    assert bound * 0.7 < float(np.median(stated)) < bound * 3.0


def test_the_frames_of_a_plateau_keep_its_ripple_about_its_one_mean():
    rng = np.random.default_rng(6)
    time_s = np.arange(8000) / RATE_HZ
    ripple = 0.0004 * np.sin(2 * np.pi * 0.3 * time_s)
    found, log_hz = read(plateau(17.3 * (1 + ripple), 8.0, rng, noise=0.3), 17.3, rng)
    told = np.isfinite(found.log_hz)
    assert told.sum() == np.sum(np.abs(log_hz - np.median(log_hz)) < 0.004)
    centres = np.arange(0.15, 8.0, HOP_S)
    inside = told & (centres > 1.2) & (centres < 6.8)
    # a slope over 1.5 s passes 0.78 of a swing of 0.3 Hz
    expected = 0.78 * np.interp(centres[inside], time_s, ripple)
    got = found.log_hz[inside] - np.log(17.3)
    assert np.std(got - expected - np.mean(got - expected)) < 0.3 * np.std(expected)


def test_a_plateau_without_ripple_shows_none():
    rng = np.random.default_rng(6)
    found, _ = read(plateau(17.3, 8.0, rng, noise=0.3), 17.3, rng)
    told = np.isfinite(found.log_hz)
    assert np.std(found.log_hz[told]) < 1.5 * np.median(found.sigma[told])


def test_a_drum_that_hunts_is_left_as_its_frames_have_it():
    rng = np.random.default_rng(7)
    time_s = np.arange(8000) / RATE_HZ
    hunting = 17.3 * (1 + 0.003 * np.sin(2 * np.pi * 0.4 * time_s))
    found, _ = read(plateau(hunting, 8.0, rng), 17.3, rng)
    assert not np.isfinite(found.log_hz).any()


def test_noise_alone_is_left_as_its_frames_have_it():
    rng = np.random.default_rng(8)
    for _ in range(10):
        found, _ = read(plateau(0.0, 8.0, rng, noise=50.0), 17.3, rng)
        assert not np.isfinite(found.log_hz).any()


def test_the_mains_beside_an_order_does_not_pull_the_speed():
    # 995 rpm: third and sixth order lie at 49.75 and 99.5 Hz, beside a mains hum of 50 and 100 Hz
    rng = np.random.default_rng(9)
    band = plateau(0.0, 8.0, rng, noise=1.0)
    time_s = np.arange(len(band.signal)) / RATE_HZ
    hum = sum(3.0 * np.cos(2 * np.pi * f * time_s) for f in (50.0, 100.0))
    found, _ = read(replace(band, signal=(band.signal + hum).astype(np.float32)), 995.0 / 60.0, rng)
    assert found.wholes == ()
