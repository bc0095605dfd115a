"""One simulated recording: the programme is run, heard or felt, and kept with its truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spinlab.recording import Recording, Source
from spinlab.simulate.bounds import check_parameters
from spinlab.simulate.dynamics import Motion
from spinlab.simulate.logger import PANEL_RATE_HZ, Log, as_recording, read_out
from spinlab.simulate.parameters import Parameters, Step
from spinlab.simulate.programme import Command
from spinlab.simulate.sound_recording import record_sound
from spinlab.simulate.suspension import shake
from spinlab.simulate.tachometer import run
from spinlab.simulate.timebase import Timebase, timebase
from spinlab.simulate.truth import FileClock, Truth, truth


@dataclass(frozen=True, kw_only=True, eq=False)
class Simulated:
    """A recording and what really happened.

    Attributes:
        recording: what a reader makes of the file.
        truth: what was really so.
        encoded: the bytes of the lossy file that `recording` was decoded from, if one was made.
        log: the raw stamps and values behind `recording`, for acceleration.
    """

    recording: Recording
    truth: Truth
    encoded: bytes | None = None
    log: Log | None = None


def spin_test(
    plateaus_rpm: tuple[float, ...] = (400.0, 800.0, 1000.0, 1200.0, 1400.0),
    *,
    hold_s: float = 6.0,
    rise_rpm_per_s: float = 100.0,
    distribution_s: float = 4.0,
    rest_s: float = 1.5,
    coast_s: float = 8.0,
) -> tuple[Step, ...]:
    """The usual service programme: rest, distribution, plateaus upward, coast-down."""
    spins = [
        Step(kind="spin", rpm=rpm, rise_rpm_per_s=rise_rpm_per_s, hold_s=hold_s)
        for rpm in plateaus_rpm
    ]
    return (
        Step(kind="rest", hold_s=rest_s),
        Step(kind="distribution", rpm=85.0, rise_rpm_per_s=40.0, hold_s=distribution_s),
        *spins,
        Step(kind="coast", hold_s=coast_s),
    )


def simulate(parameters: Parameters, rng_or_seed: np.random.Generator | int) -> Simulated:
    """Run the programme of `parameters` (the usual spin test if it has none) and record it.

    The same parameters and seed give the same bits with the same versions of numpy, scipy and
    the codecs.  A Generator is asked for one seed, which the truth states.

    Raises:
        InputError: a parameter makes no physical sense; the message names it.
    """
    if isinstance(rng_or_seed, np.random.Generator):
        seed = int(rng_or_seed.integers(2**53))
    else:
        seed = int(rng_or_seed)
    p = parameters if parameters.programme else replace(parameters, programme=spin_test())
    check_parameters(p, seed)
    orders, motion = run(p, seed)
    record = _sound if p.kind == "sound" else _acceleration
    return record(p, orders, motion, seed)


def phone_timebase(p: Parameters, motion: Motion, seed: int) -> Timebase:
    """The machine's state at the samples of the phone's file."""
    phone = p.phone
    return timebase(
        motion,
        seed=seed,
        rate_hz=phone.rate_hz,
        start_s=phone.start_s,
        duration_s=phone.duration_s,
        clock_error_ppm=phone.clock_error_ppm,
    )


def _sound(p: Parameters, orders: Command, motion: Motion, seed: int) -> Simulated:
    phone, base = p.phone, phone_timebase(p, motion, seed)
    heard = record_sound(p, base, shake(p, motion))
    recording = Recording(
        kind="sound",
        samples=heard.samples,
        rate_hz=float(phone.rate_hz),
        channel_names=("left", "right") if phone.channels == 2 else ("mono",),
        source=Source(file=f"simulated {p.name}", sha256="", codec=phone.codec, bits=16),
    )
    known = truth(
        p,
        seed,
        orders,
        motion,
        clock=FileClock(start_s=phone.start_s, error_ppm=phone.clock_error_ppm),
        duration_s=recording.duration_s,
        snr_db=heard.snr_db,
        dropouts=heard.dropouts,
    )
    return Simulated(recording=recording, truth=known, encoded=heard.encoded)


def _acceleration(p: Parameters, orders: Command, motion: Motion, seed: int) -> Simulated:
    logger = p.logger
    base = timebase(
        motion,
        seed=seed,
        rate_hz=PANEL_RATE_HZ,
        start_s=logger.start_s,
        duration_s=logger.duration_s,
    )
    log = read_out(p, base, shake(p, motion))
    recording = as_recording(log, p)
    known = truth(
        p,
        seed,
        orders,
        motion,
        clock=FileClock(start_s=logger.start_s, error_ppm=logger.clock_error_ppm),
        duration_s=recording.end_s,
        snr_db=None,
        dropouts=(),
    )
    return Simulated(recording=recording, truth=known, log=log)
