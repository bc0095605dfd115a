"""One simulated recording: the programme is run, heard, and written down with its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.recording import Recording, Source
from spinlab.simulate.codec import round_trip
from spinlab.simulate.dynamics import integrate
from spinlab.simulate.machine_sound import machine_sound
from spinlab.simulate.parameters import Parameters, Step
from spinlab.simulate.phone import (
    automatic_gain,
    convert,
    drop_out,
    hear,
    microphone_response,
    suppress_noise,
)
from spinlab.simulate.programme import command
from spinlab.simulate.room import room_response
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve
from spinlab.simulate.surroundings import interference
from spinlab.simulate.timebase import Timebase, timebase
from spinlab.simulate.truth import Truth, truth

SPIN_HZ = 5.0  # drum turns per second (300 rpm) above which the signal-to-noise ratio counts
BAND_HZ = (100.0, 7000.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Simulated:
    """A recording and what really happened."""

    recording: Recording
    truth: Truth


def simulate(parameters: Parameters, rng_or_seed: np.random.Generator | int) -> Simulated:
    """Run the programme of `parameters` and record it.

    The same parameters and seed give the same bits (same versions of numpy, scipy and codecs).
    A Generator is asked for one seed, which the truth states.
    """
    seed = (
        int(rng_or_seed.integers(2**53))
        if isinstance(rng_or_seed, np.random.Generator)
        else int(rng_or_seed)
    )
    p = parameters if parameters.programme else _with_default_programme(parameters)
    orders = command(p.programme)
    motion = integrate(p, orders, seed)
    base = timebase(
        motion,
        seed=seed,
        rate_hz=p.phone.rate_hz,
        start_s=p.phone.start_s,
        clock_error_ppm=p.phone.clock_error_ppm,
    )
    heard, snr_db = at_the_microphone(p, base)
    samples, gone = through_the_phone(heard, p, seed)
    recording = Recording(
        kind="sound",
        samples=samples,
        rate_hz=float(p.phone.rate_hz),
        channel_names=("left", "right") if len(samples) == 2 else ("mono",),
        source=Source(file=f"simulated {p.name}", sha256="", codec=p.phone.codec),
    )
    known = truth(
        p,
        seed,
        orders,
        motion,
        duration_s=recording.duration_s,
        snr_db=snr_db,
        faults={},
        dropouts=gone,
    )
    return Simulated(recording=recording, truth=known)


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


def _with_default_programme(p: Parameters) -> Parameters:
    from dataclasses import replace

    return replace(p, programme=spin_test())


def band_power(sound: Samples, rate_hz: float, wanted: np.ndarray) -> float:
    """Mean square within 100-7000 Hz over the samples where `wanted` is true."""
    from scipy.signal import welch

    chosen = sound[wanted]
    if len(chosen) < 4096:
        chosen = sound
    pitch, density = welch(chosen, rate_hz, nperseg=4096, noverlap=0)
    inside = (pitch >= BAND_HZ[0]) & (pitch <= BAND_HZ[1])
    return float(np.sum(density[inside]) * (pitch[1] - pitch[0]))


def at_the_microphone(p: Parameters, base: Timebase) -> tuple[Samples, float | None]:
    """Sound pressure at the microphone, shape (channels, n), and the signal-to-noise ratio."""
    machine, other = machine_sound(p, base), interference(p, base)
    spinning = base.speed_hz > SPIN_HZ
    channels = [
        (
            convolve(machine, room_response(p.room, stream(base.seed, f"room {n}"), base.rate_hz)),
            convolve(other, room_response(p.room, stream(base.seed, f"hall {n}"), base.rate_hz)),
        )
        for n in range(p.phone.channels)
    ]
    signal = band_power(channels[0][0], base.rate_hz, spinning)
    noise = band_power(channels[0][1], base.rate_hz, spinning)
    factor, snr_db = 1.0, None
    if noise > 0.0 and signal > 0.0:
        snr_db = float(10.0 * np.log10(signal / noise))
        if p.surroundings.snr_db is not None:
            factor = gain(snr_db - p.surroundings.snr_db)
            snr_db = p.surroundings.snr_db
    mixed = np.stack([own + np.float32(factor) * alien for own, alien in channels])
    return mixed, snr_db


def through_the_phone(
    sound: Samples, p: Parameters, seed: int
) -> tuple[Samples, tuple[tuple[float, float], ...]]:
    """Microphone, processing, converter and codec; shape (channels, n), and the dropouts."""
    phone = p.phone
    response = microphone_response(phone, stream(seed, "microphone"))
    loudest = float(np.sqrt(np.mean(sound**2)))
    ready = []
    for number, channel in enumerate(sound):
        heard = hear(channel, response) * np.float32(gain(phone.level_dbfs) / max(loudest, 1e-12))
        hiss = stream(seed, f"self noise {number}").standard_normal(len(heard), dtype=np.float32)
        heard += np.float32(gain(phone.level_dbfs + phone.self_noise_db)) * hiss
        if phone.noise_suppression:
            heard = suppress_noise(heard, phone.rate_hz, phone.noise_suppression)
        if phone.automatic_gain:
            heard = automatic_gain(heard, phone.rate_hz, phone.automatic_gain)
        ready.append(heard)
    kept, gone = drop_out(np.stack(ready), phone, seed)
    kept = convert(kept, phone)
    if phone.codec != "none":
        kept = round_trip(kept, phone.rate_hz, phone.codec, phone.bit_rate)
    return kept.astype(np.float32), gone
