"""The drain pump: a two-pole synchronous motor on the mains, its vanes, water, and air drawn in.

Where the sump runs dry, air and water pass in slugs.  An air slug takes the load off the vanes, so
the tone sinks; the mixture hisses with bubbles that ring at f = 3.26 m/s / radius (Minnaert 1933)
as the vanes cut them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.parameters import Parameters
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve, modal_response, shaped_noise_response
from spinlab.simulate.timebase import Timebase
from spinlab.simulate.waves import read_wave, wave_table

MINNAERT_M_PER_S = 3.26
BUBBLE_RADII_M = (0.0008, 0.005)
SLUG_S = 0.25  # mean time that one slug of air takes to pass; common practice, no published source
SLUG_EDGE_S = 0.03
UNLOADED_SHARE = 0.6  # of the tone goes with the load
BUBBLE_LEVEL = 0.9  # RMS of the hiss within a slug, over the pump's in water


def pump_sound(p: Parameters, base: Timebase, turns: NDArray[np.float64]) -> Samples:
    """The pump as it runs; `turns` counts cycles of the mains, which its shaft follows."""
    rng = stream(base.seed, "pump")
    vanes = int(rng.integers(4, 8))
    size = {2: 1.0, 4: gain(rng.normal(-8.0, 4.0)), 6: gain(rng.normal(-14.0, 4.0)), 1: 0.3}
    size[vanes] = size.get(vanes, 0.0) + gain(rng.normal(-6.0, 4.0))
    size[2 * vanes] = size.get(2 * vanes, 0.0) + gain(rng.normal(-12.0, 4.0))
    shaft = turns + 0.01 * base.slow("pump load", 1.0)
    tone = read_wave(wave_table(size, rng), shaft)
    tone *= np.maximum(1.0 + 0.2 * base.slow("pump level", 0.5), 0.1)
    shape = shaped_noise_response(rng, base.rate_hz, tilt_db_per_octave=-4.0, ripple_db=4.0)
    water = convolve(base.white("gurgle"), shape)
    water *= np.abs(1.0 + 0.8 * base.slow("gurgle level", 4.0))
    mixed: Samples = 0.8 * tone + 0.6 * water
    if p.surroundings.pump_air > 0.0:
        air = air_slugs(p, base)
        mixed = 0.8 * tone * (1.0 - np.float32(UNLOADED_SHARE) * air)
        mixed += 0.6 * water * (1.0 - air) + air * bubbles(base, shaft, vanes)
    return mixed


def air_slugs(p: Parameters, base: Timebase) -> Samples:
    """Share of air in the pump, 0 to 1: slugs that come at random from `pump_air_from_s` on.

    Slugs of air and of water last exponentially distributed times, so that `pump_air` is the share
    of time that air takes.
    """
    from scipy.ndimage import uniform_filter1d

    rng, share = stream(base.seed, "pump air"), min(p.surroundings.pump_air, 0.98)
    start, end = p.surroundings.pump_on_s
    now, stop = (
        max(start, p.surroundings.pump_air_from_s, base.time_s[0]),
        min(end, base.time_s[-1]),
    )
    air = np.zeros(base.count, dtype=np.float32)
    while now < stop:
        length = rng.exponential(SLUG_S)
        first, last = np.searchsorted(base.time_s, [now, now + length])
        air[first:last] = 1.0
        now += length + rng.exponential(SLUG_S * (1.0 - share) / share)
    smooth: Samples = uniform_filter1d(air, max(1, round(SLUG_EDGE_S * base.rate_hz)))
    return smooth


def bubbles(base: Timebase, shaft: NDArray[np.float64], vanes: int) -> Samples:
    """Hiss of bubbles that ring as the vanes cut them, RMS about `BUBBLE_LEVEL`."""
    rng = stream(base.seed, "bubbles")
    small, large = BUBBLE_RADII_M
    ringing = modal_response(
        rng,
        base.rate_hz,
        low_hz=MINNAERT_M_PER_S / large,
        high_hz=MINNAERT_M_PER_S / small,
        modes=40,
        damping=(0.03, 0.1),
    )
    cut = np.maximum(1.0 + read_wave(wave_table({vanes: 0.8, 1: 0.5}, rng), shaft), 0.0)
    hiss = convolve((base.white("bubbles") * cut).astype(np.float32), ringing)
    scaled: Samples = np.float32(BUBBLE_LEVEL / max(float(np.std(hiss)), 1e-12)) * hiss
    return scaled
