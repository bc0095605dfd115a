"""What is heard beside the machine's rotation: mains, pump, fan, talk, knocks, room noise.

Unit as in `machine_sound`.  The drain pump sits in the machine but does not turn with the drum,
so it counts as interference.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.parameters import Parameters
from spinlab.simulate.pump_sound import pump_sound
from spinlab.simulate.speech import SPEECH_RATE_HZ, babble, speech
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve, modal_response, shaped_noise_response
from spinlab.simulate.timebase import Timebase
from spinlab.simulate.waves import read_wave, wave_table

SWITCH_S = 0.15
KNOCK_S = 0.4


def mains_turns(p: Parameters, base: Timebase) -> NDArray[np.float64]:
    """Cycles of the mains since power-up; its frequency wanders a little, slowly."""
    drift = p.surroundings.mains_drift_hz * base.slow("mains", 0.05).astype(np.float64)
    return p.surroundings.mains_hz * base.time_s + np.cumsum(drift) / base.rate_hz


def switched(base: Timebase, span_s: tuple[float, float]) -> Samples:
    """1 within the span, 0 outside, with short flanks."""
    rise = (base.time_s - span_s[0]) / SWITCH_S
    fall = (span_s[1] - base.time_s) / SWITCH_S
    return np.clip(np.minimum(rise, fall), 0.0, 1.0).astype(np.float32)


def hum(p: Parameters, base: Timebase) -> Samples:
    """Mains hum: transformer and iron noise at twice the mains and its multiples, some odd."""
    rng = stream(base.seed, "hum")
    size = {k: gain(rng.normal(0.0, 5.0)) / k for k in range(2, 17, 2)}
    size |= {k: 0.25 * gain(rng.normal(0.0, 6.0)) / k for k in range(1, 12, 2)}
    return read_wave(wave_table(size, rng), mains_turns(p, base))


def pump(p: Parameters, base: Timebase) -> Samples:
    """The drain pump while it is switched on."""
    running = pump_sound(p, base, mains_turns(p, base))
    return running * switched(base, p.surroundings.pump_on_s)


def fill(p: Parameters, base: Timebase) -> Samples:
    """Water through the fill valve: hiss between 2 and 6 kHz, and the coil's hum."""
    rng = stream(base.seed, "fill")
    ringing = modal_response(
        rng,
        base.rate_hz,
        low_hz=min(1500.0, 0.2 * base.rate_hz),
        high_hz=6500.0,
        modes=25,
        damping=(0.1, 0.3),
    )
    hiss = convolve(base.white("fill"), ringing)
    coil = read_wave(wave_table({2: 1.0, 4: 0.3, 6: 0.2}, rng), mains_turns(p, base))
    unsteady = np.maximum(1.0 + 0.1 * base.slow("fill level", 2.0), 0.1)
    mixed: Samples = hiss * unsteady / np.float32(np.std(hiss)) + np.float32(0.15) * coil
    return mixed * switched(base, p.surroundings.fill_on_s)


def fan(p: Parameters, base: Timebase) -> Samples:
    """A room fan: blade tones at its own steady rate, and wind."""
    rng = stream(base.seed, "fan")
    blades = int(rng.integers(3, 8))
    size = {k * blades: k**-1.0 for k in range(1, 6)} | {1: 0.3}
    turns = p.surroundings.fan_hz * base.time_s + 0.05 * base.slow("fan", 0.1)
    shape = shaped_noise_response(rng, base.rate_hz, tilt_db_per_octave=-5.0, ripple_db=3.0)
    mixed: Samples = 0.7 * read_wave(wave_table(size, rng), turns)
    mixed += 0.7 * convolve(base.white("fan wind"), shape)
    return mixed


def talk(p: Parameters, base: Timebase, *, many: bool) -> Samples:
    """One talker or babble at the recording's sample instants."""
    from scipy.signal import resample_poly

    rng = stream(base.seed, "babble" if many else "speech")
    duration_s = base.time_s[-1] - base.time_s[0] + 1.0
    words = babble(rng, duration_s) if many else speech(rng, duration_s)
    rate, wanted = int(SPEECH_RATE_HZ), int(base.rate_hz)
    if wanted != rate:
        words = resample_poly(words, wanted, rate).astype(np.float32)
    words = words[: base.count]
    return words if many else words * switched(base, p.surroundings.speech_on_s)


def knocks(
    name: str, times_s: tuple[float, ...], base: Timebase, *, low_hz: float = 50.0
) -> Samples:
    """Thuds at given machine times (a door, a hand on the phone), unit peak each."""
    rng = stream(base.seed, name)
    total = np.zeros(base.count, dtype=np.float32)
    for time_s in times_s:
        thud = modal_response(
            rng,
            base.rate_hz,
            low_hz=low_hz,
            high_hz=50.0 * low_hz,
            modes=14,
            damping=(0.03, 0.15),
        )
        thud = thud[: int(KNOCK_S * base.rate_hz)] / np.abs(thud).max()
        first = int((time_s - base.time_s[0]) * base.rate_hz)
        if 0 <= first < base.count:
            stop = min(first + len(thud), base.count)
            total[first:stop] += thud[: stop - first]
    return total


def handling(base: Timebase) -> Samples:
    """Fingers on the phone: random soft knocks and rubbing."""
    rng = stream(base.seed, "handling")
    span = (base.time_s[0], base.time_s[-1])
    count = int(rng.poisson(0.15 * (span[1] - span[0])))
    total = knocks("handling knocks", tuple(np.sort(rng.uniform(*span, count)).tolist()), base)
    rub = np.maximum(base.slow("rubbing", 2.0) - 2.0, 0.0)
    mixed: Samples = total + 0.5 * rub * base.white("rub")
    return mixed


def room_noise(base: Timebase) -> Samples:
    """The quiet room: noise falling 5 dB per octave."""
    rng = stream(base.seed, "room noise")
    shape = shaped_noise_response(
        rng, base.rate_hz, tilt_db_per_octave=-5.0, ripple_db=3.0, low_hz=30.0
    )
    return convolve(base.white("room"), shape)


def interference(p: Parameters, base: Timebase) -> Samples:
    """Everything together at its stated level, shape (n,)."""
    around = p.surroundings
    total = np.zeros(base.count, dtype=np.float32)
    sources: tuple[tuple[float | None, Callable[[], Samples]], ...] = (
        (around.hum_db, lambda: hum(p, base)),
        (around.pump_db, lambda: pump(p, base)),
        (around.fill_db, lambda: fill(p, base)),
        (around.click_db, lambda: knocks("relay", around.click_times_s, base, low_hz=800.0)),
        (around.fan_db, lambda: fan(p, base)),
        (around.speech_db, lambda: talk(p, base, many=False)),
        (around.babble_db, lambda: talk(p, base, many=True)),
        (around.slam_db, lambda: knocks("slam", around.slam_times_s, base)),
        (around.handling_db, lambda: handling(base)),
        (around.room_noise_db, lambda: room_noise(base)),
    )
    for level_db, source in sources:
        if level_db is not None:
            total += np.float32(gain(level_db)) * source()
    return total
