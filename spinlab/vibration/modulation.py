"""What sound alone can say of the drum's shaking: modulation depth and knocks once per turn.

Only relative measures: a microphone cannot give mm/s or grams.  The power of each band is taken as
P (1 + m cos angle)^2; its first order relative to its mean is 2 m / (1 + m^2 / 2), from which the
amplitude-modulation index m follows.  A knock is a short pulse at one angle: its energy is spread
evenly over many harmonics of the turn, where a smooth modulation has one or two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import Estimate, SpeedTrack
from spinlab.vibration.angular import angular_orders
from spinlab.vibration.loudness import Loudness
from spinlab.vibration.tracking import OrderTrack

TURNS = 24.0
# Harmonics of a knock beyond those of a smooth modulation; off-integer orders give the noise.
KNOCK_ORDERS = (3.0, 4.0)
QUIET_ORDERS = (2.6, 3.4, 3.6, 4.4)
LEAST_WINDOWS = 4
MAINS_SWELLS_HZ = (50.0, 60.0, 100.0, 120.0)
MAINS_CLEARANCE_HZ = 1.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Modulation:
    """Depth of the drum-rate modulation of the noise, against speed.

    Attributes:
        speed_rpm: shape (s,), speeds (bins of 50 rpm) with enough windows.
        index: shape (s,), amplitude-modulation index of the band that shows it best.
        standard_uncertainty: shape (s,).
        band_hz: that band.
        overall: weighted mean over the speeds; None where nothing stands out.
        knock_ratio: energy at orders 3 and 4 of the turn over that beside them; 1 = none.
        knock_p: chance of such a ratio without knocks (F law).
        knock_speed_rpm: speed at which it stands out most.
        reason: why there is no number; "" otherwise.
    """

    speed_rpm: NDArray[np.float64]
    index: NDArray[np.float64]
    standard_uncertainty: NDArray[np.float64]
    band_hz: tuple[float, float] | None = None
    overall: Estimate | None = None
    knock_ratio: float | None = None
    knock_p: float | None = None
    knock_speed_rpm: float | None = None
    reason: str = ""


def modulation(sound: Loudness, track: SpeedTrack) -> Modulation:
    """Modulation index against speed, and the test for knocks once per turn."""
    empty = np.zeros(0)
    nothing = Modulation(speed_rpm=empty, index=empty, standard_uncertainty=empty)
    if len(sound.time_s) < 2:
        return replace(nothing, reason="the recording is too short")
    found = angular_orders(sound.as_recording(), track, (1.0, 2.0), turns=TURNS, cells_per_turn=8)
    steady = found.speed_rpm > 0
    if int(steady.sum()) < LEAST_WINDOWS:
        return replace(nothing, reason="the drum's speed is known for too short a time")
    mean = _window_means(sound, found)
    speed, index, u, band = _depth_by_speed(found, mean)
    ratio, p, knock_speed = _knocks(sound, track)
    overall = None
    if len(index):
        weight = 1.0 / u**2
        overall = Estimate(
            value=float(np.sum(weight * index) / weight.sum()),
            standard_uncertainty=float(
                max(1.0 / np.sqrt(weight.sum()), index.std() / np.sqrt(len(index)))
            ),
        )
    return Modulation(
        speed_rpm=speed,
        index=index,
        standard_uncertainty=u,
        band_hz=_edges(sound, band),
        overall=overall,
        knock_ratio=ratio,
        knock_p=p,
        knock_speed_rpm=knock_speed,
    )


def _edges(sound: Loudness, band: int | None) -> tuple[float, float] | None:
    if band is None:
        return None
    low, high = sound.bands_hz[band]
    return float(low), float(high)


def _window_means(sound: Loudness, found: OrderTrack) -> NDArray[np.float64]:
    """Mean power of each band in each window, shape (b, w)."""
    total = np.concatenate(
        [np.zeros((len(sound.power), 1)), np.cumsum(sound.power, axis=1, dtype=np.float64)], axis=1
    )
    first = np.searchsorted(sound.time_s, found.time_s - found.length_s / 2)
    last = np.maximum(np.searchsorted(sound.time_s, found.time_s + found.length_s / 2), first + 1)
    last = np.minimum(last, total.shape[1] - 1)
    return np.asarray((total[:, last] - total[:, first]) / np.maximum(last - first, 1))


def _depth_by_speed(
    found: OrderTrack, mean: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], int | None]:
    """Index per speed bin in the band with the best signal-to-noise ratio."""
    k = found.index(1.0)
    relative = np.abs(found.amplitude[k]) / mean
    u = found.standard_uncertainty[k] / mean
    bins = np.round(found.speed_rpm / 50.0)
    power = np.mean(relative**2, axis=1) - 2.0 * np.mean(u**2, axis=1)
    best = int(np.argmax(power / np.mean(u**2, axis=1)))
    rows = []
    for b in np.unique(bins):
        here = bins == b
        count = int(here.sum())
        if count < 2:
            continue
        square = float(np.mean(relative[best, here] ** 2))
        noise = 2.0 * float(np.mean(u[best, here] ** 2))
        # Variance of a mean of |A|^2: signal-noise and noise-noise parts, 2/3 independent.
        independent = max(1.0, 2.0 * count / 3.0)
        signal = max(square - noise, 0.0)
        spread = np.sqrt((2.0 * signal * noise + noise**2) / independent)
        scatter = float(np.std(relative[best, here])) / np.sqrt(independent)
        c = np.sqrt(signal)
        c_u = max(spread / (2.0 * max(c, np.sqrt(spread))), scatter)
        rows.append((float(found.speed_rpm[here].mean()), _index(c), c_u / 2.0))
    table = np.array(rows).reshape(-1, 3)
    if not len(table):
        return table[:, 0], table[:, 1], table[:, 2], None
    return table[:, 0], table[:, 1], table[:, 2], best


def _index(first_order: float) -> float:
    """Modulation index from c = 2 m / (1 + m^2 / 2), the smaller root; at most 1."""
    if first_order <= 0.0:
        return 0.0
    root = 1.0 - 0.5 * first_order**2
    return float(min(1.0, (1.0 - np.sqrt(max(root, 0.0))) * 2.0 / first_order))


def _mains_swells(track: SpeedTrack) -> tuple[float, ...]:
    """Once and twice the mains; of both countries' where it is not known."""
    if track.mains_hz is None:
        return MAINS_SWELLS_HZ
    return track.mains_hz.value, 2.0 * track.mains_hz.value


def _knocks(sound: Loudness, track: SpeedTrack) -> tuple[float | None, float | None, float | None]:
    """F test of integer against off-integer orders of the log power, all bands together.

    The logarithm makes noise of any strength equally noisy, so that quiet turns count as much as
    loud ones.  A knock fills its harmonics evenly; two tones that beat make one line.  So the
    weaker of the two orders decides.  Returns ratio, chance and speed of the speed bin with the
    least chance.
    """
    from scipy.stats import f as f_law

    logs = replace(sound.as_recording(), samples=np.log(sound.power))
    found = angular_orders(logs, track, (1.0, 2.0, *KNOCK_ORDERS, *QUIET_ORDERS), turns=TURNS)
    power = np.abs(found.amplitude) ** 2
    knocks = np.stack([power[found.index(o)] for o in KNOCK_ORDERS])
    quiet = np.mean([power[found.index(o)] for o in QUIET_ORDERS], axis=0)
    held = found.speed_rpm / 60.0 * max(KNOCK_ORDERS + QUIET_ORDERS) < 0.45 * sound.rate_hz
    for order in KNOCK_ORDERS + QUIET_ORDERS:
        # A motor or pump swells with the mains: order 3 at 1200 rpm is 60 Hz.
        for mains_hz in _mains_swells(track):
            held &= np.abs(order * found.speed_rpm / 60.0 - mains_hz) > MAINS_CLEARANCE_HZ
    bands = _independent_bands(
        np.concatenate([found.amplitude[found.index(o)][:, held] for o in QUIET_ORDERS], axis=1)
    )
    bins = np.round(found.speed_rpm / 50.0)
    best: tuple[float, float, float] | None = None
    trials = 0
    for b in np.unique(bins[held]):
        here = held & (bins == b)
        count = int(here.sum())
        if count < LEAST_WINDOWS:
            continue
        # Neighbouring windows share part of their noise: half of them count.
        freedom = 2.0 * count * bands / 2.0
        beside = max(float(quiet[:, here].sum()), 1e-300)
        ratio = float(knocks[:, :, here].sum(axis=(1, 2)).min()) / beside
        p = float(f_law.sf(ratio, freedom, len(QUIET_ORDERS) * freedom))
        trials += 1
        if best is None or p < best[0]:
            best = (p, ratio, float(found.speed_rpm[here].mean()))
    if best is None:
        return None, None, None
    return best[1], float(min(1.0, best[0] * trials)), best[2]


def _independent_bands(amplitude: NDArray[np.complexfloating]) -> float:
    """How many bands count, shape (b, n) of noise: (tr C)^2 / tr C^2 (Satterthwaite 1946).

    Speech, a slam or a fan swells in all bands at once.
    """
    if amplitude.shape[1] < 2:
        return 1.0
    scaled = amplitude / np.maximum(
        np.sqrt(np.mean(np.abs(amplitude) ** 2, axis=1, keepdims=True)), 1e-150
    )
    shared = np.abs(scaled @ scaled.conj().T / amplitude.shape[1]) ** 2
    return float(len(amplitude) ** 2 / shared.sum())
