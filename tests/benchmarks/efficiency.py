"""How near the track comes to the least possible variance, on plateaus made for the purpose.

The recording is the bound's own model: whole orders of the drum in white noise, held exactly at two
speeds, with ramps between them so that the track has something that moves.  The bound and a
maximum-likelihood search (given the right peak) are taken over the very samples that the track
calls its plateau.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.bound import best_rate, fundamental_variance
from tests.benchmarks.scoring import Plateau, measured_plateaus
from tests.benchmarks.tables import markdown

Floats = NDArray[np.float64]
Result = dict[str, Any]

RATE_HZ = 8000
SNR_DB = (20.0, 10.0, 5.0, 0.0, -5.0, -10.0)
ORDERS = tuple(range(1, 13))
# Times (s) and speeds (rpm) of the corners; the second and third speed are drawn per case.
CORNERS_S = (0.0, 1.0, 5.0, 12.0, 17.0, 25.0, 33.0, 34.0)
MEASURED = (1, 3)  # corner pairs 2-3 and 4-5 are the plateaus
GROSS = 0.02
SHARE_OF_COUNT = 10  # one spin per signal-to-noise ratio for so many recordings of the table
ROUNDING_S = 0.6


@dataclass(frozen=True, kw_only=True)
class Spin:
    """One synthetic recording to be made."""

    seed: int
    snr_db: float

    @property
    def key(self) -> str:
        """Its name in the cache."""
        return f"{self.seed} {self.snr_db:g}"


def rate_course(low_rpm: float, high_rpm: float) -> Floats:
    """Drum rate (Hz) at every sample of a spin with two plateaus, its corners rounded."""
    time_s = np.arange(int(CORNERS_S[-1] * RATE_HZ)) / RATE_HZ
    levels = np.array([0.0, 0.0, low_rpm, low_rpm, high_rpm, high_rpm, 0.0, 0.0]) / 60.0
    width = int(ROUNDING_S * RATE_HZ)
    padded = np.concatenate([np.zeros(width - 1), np.interp(time_s, CORNERS_S, levels)])
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def levels_of(spin: Spin) -> tuple[float, float]:
    """The two speeds of a spin, rpm."""
    rng = np.random.default_rng(spin.seed)
    return rng.uniform(380.0, 620.0), rng.uniform(900.0, 1450.0)


def make(spin: Spin) -> tuple[NDArray[np.float32], Floats, float]:
    """Samples (n,), amplitudes (orders,) and noise variance of a synthetic spin."""
    rng = np.random.default_rng([spin.seed, round(100.0 + spin.snr_db)])
    rate = rate_course(*levels_of(spin))
    turns = np.cumsum(rate) / RATE_HZ
    amplitude = rng.uniform(0.3, 1.0, len(ORDERS))
    phase = rng.uniform(0.0, 2.0 * np.pi, len(ORDERS))
    sound = np.zeros(len(turns))
    for order, size, angle in zip(ORDERS, amplitude, phase, strict=True):
        sound += size * np.cos(2.0 * np.pi * order * turns + angle)
    sound *= np.clip(rate / 2.0, 0.0, 1.0)
    variance = 0.5 * float(np.sum(amplitude**2)) * 10.0 ** (-0.1 * spin.snr_db)
    sound += np.sqrt(variance) * rng.standard_normal(len(sound))
    scale = 0.1 / float(np.std(sound))
    return (scale * sound).astype(np.float32), scale * amplitude, scale**2 * variance


def measure(spin: Spin) -> Result:
    """Track one spin and compare each of its plateaus with bound and best estimate."""
    from spinlab.recording import Recording
    from spinlab.speed import track_speed

    made = make(spin)
    recording = Recording(kind="sound", samples=made[0][np.newaxis], rate_hz=float(RATE_HZ))
    found, _ = measured_plateaus(track_speed(recording), None)
    plateaus = []
    for place, rpm in zip(MEASURED, levels_of(spin), strict=True):
        held = (CORNERS_S[place + 1] + ROUNDING_S, CORNERS_S[place + 2])
        over = [p for p in found if min(p.end_s, held[1]) - max(p.start_s, held[0]) > 1.0]
        plateaus += [compare(one, rpm, held, made) for one in over[:1]]
    return {"snr_db": spin.snr_db, "held": len(MEASURED), "plateaus": plateaus}


def compare(
    one: Plateau,
    rpm: float,
    held_s: tuple[float, float],
    made: tuple[NDArray[np.float32], Floats, float],
) -> Result:
    """A measured plateau against the bound over those of its samples that were truly level."""
    samples, amplitude, variance = made
    first = round(max(one.start_s, held_s[0]) * RATE_HZ)
    piece = samples[first : round(min(one.end_s, held_s[1]) * RATE_HZ)].astype(np.float64)
    bound = np.sqrt(fundamental_variance(ORDERS, amplitude, variance, RATE_HZ, len(piece)))
    best = best_rate(piece, RATE_HZ, ORDERS, rpm / 60.0, 6.0 * bound)
    return {
        "true_rpm": rpm,
        "error": one.speed_rpm / rpm - 1.0,
        "sigma": one.sigma_rpm / rpm,
        "bound": 60.0 * float(bound) / rpm,
        "best_error": 60.0 * best / rpm - 1.0,
        "seconds": len(piece) / RATE_HZ,
    }


HEADER = (
    "signal-to-noise",
    "plateaus held",
    "measured",
    "off by > 2 %",
    "RMS error, ppm",
    "bound, ppm",
    "variance / bound",
    "best search / bound",
    "stated / RMS error",
)


def row(level: float, results: Sequence[Result]) -> tuple[str, ...]:
    """One line of the table: errors that are not gross, against the bound."""
    everything = [p for r in results for p in r.get("plateaus", ())]
    fair = [p for p in everything if abs(p["error"]) <= GROSS]
    held = sum(r.get("held", 0) for r in results)
    counts = (f"{level:+.0f} dB", str(held), str(len(everything)), str(len(everything) - len(fair)))
    if not fair:
        return (*counts, *["-"] * 5)
    error, best, bound, sigma = (
        np.array([p[key] for p in fair]) for key in ("error", "best_error", "bound", "sigma")
    )
    rms = float(np.sqrt(np.mean(error**2)))
    return (
        *counts,
        f"{1e6 * rms:.1f}",
        f"{1e6 * np.sqrt(np.mean(bound**2)):.2f}",
        f"{np.mean((error / bound) ** 2):.3g}",
        f"{np.mean((best / bound) ** 2):.2f}",
        f"{np.sqrt(np.mean(sigma**2)) / max(rms, 1e-12):.2f}",
    )


def section(options: Any) -> Any:
    """Run and report."""
    from tests.benchmarks.accuracy import Section
    from tests.benchmarks.population import RANGES
    from tests.benchmarks.runner import run

    first, _ = RANGES[options.part]
    spins = [
        Spin(seed=first + n, snr_db=level)
        for level in SNR_DB
        for n in range(max(options.count // SHARE_OF_COUNT, 1))
    ]
    results = run(
        f"bound-{options.part}",
        measure,
        spins,
        folder=options.folder,
        version=options.version,
        workers=options.workers,
    )
    rows = [
        row(v, [r for s, r in zip(spins, results, strict=True) if s.snr_db == v]) for v in SNR_DB
    ]
    failures = sorted({r["error"] for r in results if "error" in r})
    text = (
        markdown(HEADER, rows)
        + "\n\nWhole orders 1 to 12 of the drum in white noise, held exactly; signal-to-noise is "
        "the power of all orders over the noise of the whole band (0 to 4 kHz). The bound is "
        "Cramer-Rao's over the samples that the track calls its plateau; the best search knows "
        "which peak is right. One part per million of 1000 rpm is 0.001 rpm; a phone's clock alone "
        "is uncertain by tens of them."
    )
    return Section(
        title="Efficiency against the Cramer-Rao bound",
        text="\n".join([text, *[f"Error: {f}" for f in failures[:10]]]),
    )
