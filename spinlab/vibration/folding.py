"""What a sampled log folds onto what: aliasing named, not hidden.

A phone's accelerometer may have no filter before its sampling, so anything above half its rate
comes back at another frequency: f folds to |f - m fs|.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.quality.aliasing import folded_hz
from spinlab.recording import Recording

# Share of half the rate up to which an amplitude is trusted: above it, resampling on an even
# grid and the sensor's own filter have cut into it by an unknown amount.
TRUSTED_SHARE = 0.8
HIGHEST_ORDER_THAT_FOLDS = 3  # folding of these forbids a number
# Orders above that carry little beside the first (common practice, no published source): where
# one of them folds onto an order, this share of the first counts as uncertainty.
WEAK_ORDERS = range(4, 9)
WEAK_SHARE = 0.05
# Half the width of a Hann window's main lobe, in units of 1 / its length: two lines nearer than
# this are one.
MAIN_LOBE = 2.0
MAINS_HARMONICS = (1, 2)  # the fundamental by the magnetic sensor and motors, twice by the pump


def apart(
    orders: NDArray[np.float64], drum_hz: float, length_s: float, rate_hz: float
) -> NDArray[np.intp]:
    """Indices of the orders that lie apart from each other and from 0 Hz once they are folded.

    Args:
        orders: rising, shape (k,).
        drum_hz, length_s: drum rate and length of the window.
    """
    seen = folded_hz(orders * drum_hz, rate_hz)
    kept: list[int] = []
    for k, order in enumerate(orders):
        near = [0.0, *seen[kept]]
        # What does not fold is told from its neighbours by its own frequency.
        folds = order * drum_hz > rate_hz / 2
        if not folds or np.min(np.abs(seen[k] - np.array(near))) > MAIN_LOBE / length_s:
            kept.append(k)
    return np.array(kept, dtype=np.intp)


def trouble_at(
    recording: Recording,
    orders: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    length_s: NDArray[np.float64],
    *,
    mains_hz: float | None = None,
) -> NDArray[np.str_]:
    """Why an order's amplitude must not be used in a window, shape (k, w); "" where it may.

    For sound only the upper limit counts: recorders filter before they sample.
    """
    rate = recording.rate_hz
    trouble = np.full((len(orders), len(speed_rpm)), "", dtype="<U120")
    for k, order in enumerate(orders):
        frequency = order * speed_rpm / 60.0
        for w in np.flatnonzero(frequency > 0.5 * TRUSTED_SHARE * rate):
            trouble[k, w] = (
                f"order {order:g} is at {frequency[w]:.1f} Hz, too near to or above half the "
                f"log's rate ({rate / 2:.1f} Hz)"
            )
        if recording.kind == "acceleration":
            _mark_folded_orders(trouble[k], order, frequency, speed_rpm, length_s, rate)
            if mains_hz is not None:
                _mark_mains(trouble[k], order, frequency, length_s, rate, mains_hz)
    return trouble


def _mark_folded_orders(
    trouble: NDArray[np.str_],
    order: float,
    frequency: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    length_s: NDArray[np.float64],
    rate: float,
) -> None:
    for other in range(1, HIGHEST_ORDER_THAT_FOLDS + 1):
        source = other * speed_rpm / 60.0
        hits = (source > rate / 2) & (np.abs(folded_hz(source, rate) - frequency) < 1.0 / length_s)
        for w in np.flatnonzero(hits & (trouble == "")):
            trouble[w] = (
                f"order {other} at {source[w]:.1f} Hz folds onto order {order:g} at "
                f"{frequency[w]:.1f} Hz"
            )


def weak_folding(
    orders: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    length_s: NDArray[np.float64],
    rate_hz: float,
) -> NDArray[np.float64]:
    """Share of the first order that folded weak orders may add to each order, shape (k, w)."""
    share = np.zeros((len(orders), len(speed_rpm)))
    for other in WEAK_ORDERS:
        source = other * speed_rpm / 60.0
        seen = folded_hz(source, rate_hz)
        for k, order in enumerate(orders):
            near = np.abs(seen - order * speed_rpm / 60.0) < 1.0 / np.maximum(length_s, 1e-9)
            share[k, near & (source > rate_hz / 2)] = WEAK_SHARE
    return share


def _mark_mains(
    trouble: NDArray[np.str_],
    order: float,
    frequency: NDArray[np.float64],
    length_s: NDArray[np.float64],
    rate: float,
    mains_hz: float,
) -> None:
    for harmonic in MAINS_HARMONICS:
        tone = float(folded_hz(harmonic * mains_hz, rate))
        for w in np.flatnonzero((np.abs(frequency - tone) < 1.0 / length_s) & (trouble == "")):
            trouble[w] = (
                f"{harmonic * mains_hz:.0f} Hz from the mains appears at {tone:.1f} Hz, "
                f"where order {order:g} is"
            )
