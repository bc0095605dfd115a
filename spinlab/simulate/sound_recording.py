"""From the machine's and the surroundings' sound to the samples of a phone's file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.codec import encode, round_trip
from spinlab.simulate.machine_sound import machine_sound
from spinlab.simulate.parameters import Parameters
from spinlab.simulate.phone import (
    automatic_gain,
    convert,
    drop_out,
    hear,
    microphone_response,
    suppress_noise,
)
from spinlab.simulate.room import room_response
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve
from spinlab.simulate.surroundings import interference
from spinlab.simulate.suspension import TubMotion
from spinlab.simulate.timebase import Timebase

SPIN_HZ = 5.0  # drum turns per second (300 rpm) above which the signal-to-noise ratio counts
BAND_HZ = (100.0, 7000.0)
MOVING_S = 0.4
BLOCK = 4096
INTERFERENCE_DISTANCE_M = 1.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """Samples of shape (channels, n), the file's bytes if a codec made one, and what is known."""

    samples: Samples
    encoded: bytes | None
    snr_db: float | None
    dropouts: tuple[tuple[float, float], ...]


def band_power(sound: Samples, rate_hz: float, wanted: NDArray[np.bool_]) -> float:
    """Mean square within 100-7000 Hz over the samples where `wanted` is true (else over all).

    Averaged over Hann-windowed blocks (Welch 1967, without overlap).
    """
    from scipy import fft

    chosen = sound[wanted]
    chosen = chosen if len(chosen) >= BLOCK else sound
    blocks = chosen[: max(len(chosen) // BLOCK, 1) * BLOCK]
    window = np.hanning(BLOCK).astype(np.float32)[: len(blocks)]
    spectrum = fft.rfft(blocks.reshape(-1, len(window)) * window, axis=1)
    pitch = np.fft.rfftfreq(len(window), 1.0 / rate_hz)
    inside = (pitch >= BAND_HZ[0]) & (pitch <= BAND_HZ[1])
    power = np.mean(np.abs(spectrum[:, inside]) ** 2, axis=0).sum()
    return float(2.0 * power / (np.sum(window**2) * len(window)))


def _in_room(sound: Samples, p: Parameters, base: Timebase, name: str, channel: int) -> Samples:
    """Sound through the room to one microphone, which may be moved on the way."""
    far = name == "hall"
    first = room_response(
        p.room,
        stream(base.seed, f"{name} {channel}"),
        base.rate_hz,
        distance_m=INTERFERENCE_DISTANCE_M if far else p.room.distance_m,
    )
    heard = convolve(sound, first)
    if p.phone.moved_at_s is None:
        return heard
    second = room_response(
        p.room,
        stream(base.seed, f"{name} {channel} moved"),
        base.rate_hz,
        distance_m=INTERFERENCE_DISTANCE_M if far else p.phone.moved_to_m,
    )
    nearer = 1.0 if far else min(p.room.distance_m / p.phone.moved_to_m, 4.0)
    share = np.clip((base.time_s - p.phone.moved_at_s) / MOVING_S, 0.0, 1.0).astype(np.float32)
    moved: Samples = heard * (1.0 - share) + np.float32(nearer) * share * convolve(sound, second)
    return moved


def at_the_microphone(
    p: Parameters, base: Timebase, tub: TubMotion
) -> tuple[Samples, float | None]:
    """Sound pressure at the microphone, shape (channels, n), and the signal-to-noise ratio."""
    machine, other = machine_sound(p, base, tub), interference(p, base)
    channels = [
        (_in_room(machine, p, base, "room", n), _in_room(other, p, base, "hall", n))
        for n in range(p.phone.channels)
    ]
    spinning = base.speed_hz > SPIN_HZ
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


def _processed(channel: Samples, number: int, p: Parameters, seed: int, scale: float) -> Samples:
    """One channel through microphone, noise suppression and automatic gain."""
    phone = p.phone
    response = microphone_response(phone, stream(seed, "microphone"))
    heard = hear(channel, response) * np.float32(scale)
    hiss = stream(seed, f"self noise {number}").standard_normal(len(heard), dtype=np.float32)
    heard += np.float32(gain(phone.level_dbfs + phone.self_noise_db)) * hiss
    if phone.noise_suppression:
        heard = suppress_noise(heard, phone.rate_hz, phone.noise_suppression)
    if phone.automatic_gain:
        heard = automatic_gain(heard, phone.rate_hz, phone.automatic_gain)
    return heard


def record_sound(p: Parameters, base: Timebase, tub: TubMotion) -> Heard:
    """The phone's file: what it holds once decoded, and its bytes where a codec was used."""
    phone = p.phone
    sound, snr_db = at_the_microphone(p, base, tub)
    scale = gain(phone.level_dbfs) / max(float(np.sqrt(np.mean(sound**2))), 1e-12)
    ready = np.stack([_processed(row, n, p, base.seed, scale) for n, row in enumerate(sound)])
    kept, gone = drop_out(ready, phone, base.seed)
    kept = convert(kept, phone)
    if phone.codec == "none":
        return Heard(samples=kept, encoded=None, snr_db=snr_db, dropouts=gone)
    content = encode(kept, phone.rate_hz, phone.codec, phone.bit_rate)
    return Heard(
        samples=round_trip(kept, content, phone.rate_hz),
        encoded=content,
        snr_db=snr_db,
        dropouts=gone,
    )
