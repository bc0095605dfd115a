"""What of a plateau can be heard at all, for one who knows the drum's true angle.

Each held plateau is resampled to equal turns of the drum by its true angle (angular resampling:
Fyfe and Munck 1997), so that every order of drum and motor is one line over the whole plateau.
Where no such line stands above the noise beside it, no tracker can follow one.  The same is asked
at orders that nothing makes, for hum, pumps and speech put lines anywhere.

The power of one bin over the mean of the noise beside it is exponential where there is noise only;
the largest of a search over some bins and orders has the p-value 1 - (1 - exp(-z))^n.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.simulate import Truth
from tests.benchmarks.ridge import HIGHEST_HZ, possible_orders
from tests.benchmarks.scoring import held_plateaus

Floats = NDArray[np.float64]

P_VALUE = 1e-5
DRUM_ORDERS = tuple(float(order) for order in range(1, 13))
LOWEST_HZ = 20.0
# Share of an order that is searched on either side: a window's main lobe, and a belt's creep.
DRUM_SLACK, MOTOR_SLACK = 0.0015, 0.003
# Orders that nothing makes: all of them moved by this share.
ELSEWHERE = 1.037
# Bins beside a search from which the noise is taken, at least.
LEAST_BESIDE = 60
SETTLED_S = 0.2


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderSpectrum:
    """Power per order of the drum, both of shape (orders,), and the drum's mean rate (Hz)."""

    order: Floats
    power: Floats
    rate_hz: float


def order_spectrum(
    sound: Floats, rate_hz: float, truth: Truth, start_s: float, end_s: float
) -> OrderSpectrum:
    """The spectrum of a stretch over the drum's true angle."""
    first, last = int(start_s * rate_hz), min(int(end_s * rate_hz), len(sound))
    turns = np.interp(np.arange(first, last) / rate_hz, truth.time_s, truth.turns)
    turns = np.abs(turns - turns[0])
    even = np.linspace(0.0, turns[-1], last - first)
    wave = np.interp(even, turns, sound[first:last]) * np.hanning(last - first)
    power = np.abs(np.fft.rfft(wave)) ** 2
    return OrderSpectrum(
        order=np.arange(len(power)) / turns[-1],
        power=power,
        rate_hz=float(turns[-1] * rate_hz / (last - first)),
    )


def p_value(spectrum: OrderSpectrum, orders: Sequence[float], slack: float) -> float:
    """Probability that noise alone stands out as much at the best of some orders."""
    step = spectrum.order[1]
    best, count = 1.0, 0
    for order in orders:
        low, high = int(order * (1 - slack) / step), int(np.ceil(order * (1 + slack) / step)) + 1
        hz = order * spectrum.rate_hz
        if not LOWEST_HZ < hz < HIGHEST_HZ or low < 2 or high > len(spectrum.power):
            continue
        beside = max(LEAST_BESIDE, 3 * (high - low))
        around = spectrum.power[max(0, low - beside) : high + beside]
        noise = float(np.median(around)) / np.log(2.0)
        above = float(spectrum.power[low:high].max()) / max(noise, 1e-30)
        best = min(best, float(-np.expm1((high - low) * np.log1p(-np.exp(-above)))))
        count += 1
    return min(1.0, best * count)


def audible(recording: Recording, truth: Truth) -> list[dict[str, Any]]:
    """For each held plateau, whether drum and motor stand out, at their orders and elsewhere."""
    sound = recording.samples.mean(axis=0).astype(np.float64)
    parameters = truth.parameters
    nominal = parameters.drive.ratio if parameters.drive.kind != "direct" else 1.0
    exact = truth.motor_ratio / nominal if nominal > 1.0 else 1.0
    motor = [order * exact for order in possible_orders(parameters)]
    found = []
    for _, start_s, end_s in held_plateaus(truth):
        spectrum = order_spectrum(
            sound, recording.rate_hz, truth, start_s + SETTLED_S, end_s - SETTLED_S
        )
        row = {}
        for name, orders, slack in (
            ("drum", DRUM_ORDERS, DRUM_SLACK),
            ("motor", motor, MOTOR_SLACK),
        ):
            elsewhere = [order * ELSEWHERE for order in orders]
            row[name] = p_value(spectrum, orders, slack) < P_VALUE
            row[f"{name} elsewhere"] = p_value(spectrum, elsewhere, slack) < P_VALUE
        found.append(row)
    return found


def sentence(rows: Sequence[dict[str, bool]]) -> str:
    """How many plateaus can be heard, in words."""
    if not rows:
        return "Held plateaus: none."

    def share(name: str) -> str:
        return f"{100.0 * sum(row[name] for row in rows) / len(rows):.0f} %"

    return (
        f"What stands out (p < {P_VALUE:g}) for one who knows the true angle: an order of the "
        f"drum up to the twelfth on {share('drum')} of the {len(rows)} held plateaus "
        f"({share('drum elsewhere')} at orders {100 * (ELSEWHERE - 1):.1f} % off, which nothing "
        f"makes), one of the motor on {share('motor')} ({share('motor elsewhere')})."
    )
