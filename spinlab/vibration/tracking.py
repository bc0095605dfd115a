"""Amplitude and phase of drum orders over time, by least squares in windows of a few turns.

In each window the samples are fitted, Hann-weighted, by an offset, a drift and a cosine and sine
of every order asked for, all at once, so that neighbouring orders do not leak into each other
(angle-domain least squares, as in Blough 2003, "A survey of DSP methods for rotating machinery
analysis").  The noise beside each order, read at orders in between, gives the uncertainty;
the speed's own uncertainty, stamp jitter and folding add to it or forbid the number.

Conventions: acceleration in m/s2, amplitudes are peak values, complex: amplitude times
exp(i (order x drum angle)) is the signal.  The drum angle is the track's own integral: it has no
mark on the drum as its zero and drifts with the speed's error, so a phase is meaningful between
axes and between orders, not against the drum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.folding import apart, trouble_at, weak_folding
from spinlab.vibration.sensor import held_samples
from spinlab.vibration.window_fit import reader, smoothed_noise

TURNS_PER_WINDOW = 8.0
SHORTEST_S, LONGEST_S = 0.4, 4.0
PLATEAU_S = 2.0  # on a plateau nothing changes within a window, so it may last this long
# Share of a window's samples that must lie within the sensor's range on every axis; what is beyond
# it is left out, and a sine is still told by its flanks.
LEAST_HELD = 0.5
# Leaving out what is beyond the range leaves out upward scatter more than downward: amplitudes read
# low by up to twice the samples' scatter times the share lost over the share held (found on sines
# with jittered stamps, a tenth to three fifths of them lost); taken as a rectangular bound.
_SELECTION = 2.0 / np.sqrt(3.0)
# Variance of time under a Hann weight of unit length: 1/12 - 1/(2 pi^2).
_HANN_VARIANCE = 1.0 / 12.0 - 1.0 / (2.0 * np.pi**2)


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderTrack:
    """Orders over time, k orders on a axes in w windows.

    Attributes:
        orders: shape (k,).
        axes: names of the recording's channels, length a.
        time_s: shape (w,), window centres on the file's own clock.
        length_s: shape (w,), window lengths.
        speed_rpm, speed_uncertainty_rpm: shape (w,).
        amplitude: complex, shape (k, a, w), peak acceleration in m/s2.
        standard_uncertainty: shape (k, a, w), of each of its two components and so of its size.
        shared_uncertainty: shape (k, a, w), the part of it that windows of one speed share and that
            no mean makes smaller: the speed's error, stamp jitter, folding.
        trouble: shape (k, w), why this number must not be used; "" where it may.
    """

    orders: NDArray[np.float64]
    axes: tuple[str, ...]
    time_s: NDArray[np.float64]
    length_s: NDArray[np.float64]
    speed_rpm: NDArray[np.float64]
    speed_uncertainty_rpm: NDArray[np.float64]
    amplitude: NDArray[np.complex128]
    standard_uncertainty: NDArray[np.float64]
    shared_uncertainty: NDArray[np.float64]
    trouble: NDArray[np.str_]

    def index(self, order: float) -> int:
        """Row of an order."""
        return int(np.argmin(np.abs(self.orders - order)))

    def size(self, order: float) -> NDArray[np.float64]:
        """Root sum of squares over the axes, shape (w,): the vector's size, m/s2 peak."""
        a = self.amplitude[self.index(order)]
        return np.asarray(np.sqrt(np.sum(np.abs(a) ** 2, axis=0)))

    def size_uncertainty(self, order: float) -> NDArray[np.float64]:
        """Standard uncertainty of `size`, shape (w,)."""
        k = self.index(order)
        a, u = np.abs(self.amplitude[k]), self.standard_uncertainty[k]
        total = np.maximum(self.size(order), 1e-30)
        part = np.multiply(a, u, out=np.full(u.shape, np.inf), where=np.isfinite(u))
        spread = np.sqrt(np.sum(part**2, axis=0)) / total
        return np.asarray(np.maximum(spread, np.sqrt(np.mean(u**2, axis=0))))

    def usable(self, order: float) -> NDArray[np.bool_]:
        """Windows in which the order has a number that may be used."""
        return np.asarray(self.trouble[self.index(order)] == "")


def track_orders(
    recording: Recording,
    track: SpeedTrack,
    orders: Sequence[float] = (0.5, 1.0, 1.5, 2.0, 3.0),
    *,
    turns: float = TURNS_PER_WINDOW,
    overlap: float = 0.5,
) -> OrderTrack:
    """Track orders through every stretch where the drum's speed is known.

    Args:
        recording: an acceleration log (or any recording), shape (a, n).
        track: the drum's speed; a relative one serves for shapes, not for frequencies.
        orders: multiples of the drum's rate.
        turns: drum turns in a window (held between 0.4 and 4 s).
        overlap: share of a window that the next one shares.

    Returns:
        An `OrderTrack`, with w = 0 where the drum's speed is nowhere known.
    """
    spans = _windows(recording, track, turns, overlap)
    wanted = np.array(sorted(orders), dtype=float)
    shape = (len(wanted), recording.channels, len(spans))
    amplitude = np.zeros(shape, dtype=complex)
    noise = np.zeros(shape)
    centres = np.array([0.5 * (a + b) for a, b in spans])
    held, share = held_samples(recording), np.ones(shape[1:])
    for w, (start, end) in enumerate(spans):
        amplitude[..., w], noise[..., w], share[:, w] = _fit(
            recording, held, track, start, end, wanted
        )
    length = np.array([b - a for a, b in spans])
    speed = track.speed_at(centres) if len(spans) else np.zeros(0)
    speed_u = uncertainty_at(track, centres)
    smooth = smoothed_noise(noise)
    extra = _systematic(recording, wanted, speed, speed_u, length)
    shared = np.abs(amplitude) * extra[:, None, :]
    shared = np.hypot(shared, _from_selection(smooth, share, length * recording.rate_hz))
    if recording.kind == "acceleration" and 1.0 in wanted:
        folded = weak_folding(wanted, speed, length, recording.rate_hz)
        first = np.abs(amplitude[int(np.argmin(np.abs(wanted - 1.0)))])
        shared = np.hypot(shared, folded[:, None, :] * first[None] / np.sqrt(3.0))
    trouble = trouble_at(recording, wanted, speed, length, mains_hz=_mains(track))
    trouble[:, np.isnan(share).any(axis=0)] = "too few samples for the drum's speed"
    lost = 1.0 - share.min(axis=0)
    for k in np.flatnonzero(lost > 1.0 - LEAST_HELD):
        trouble[:, k] = (
            f"the sensor stands at its end of range in {100.0 * lost[k]:.0f} % of the samples"
        )
    return OrderTrack(
        orders=wanted,
        axes=recording.channel_names or tuple(str(k) for k in range(recording.channels)),
        time_s=centres,
        length_s=length,
        speed_rpm=speed,
        speed_uncertainty_rpm=speed_u,
        amplitude=amplitude,
        standard_uncertainty=np.hypot(smooth, shared),
        shared_uncertainty=shared,
        trouble=trouble,
    )


def _mains(track: SpeedTrack) -> float | None:
    return None if track.mains_hz is None else track.mains_hz.value


def _windows(
    recording: Recording, track: SpeedTrack, turns: float, overlap: float
) -> list[tuple[float, float]]:
    """Start and end times of windows that lie wholly where the speed is known."""
    known = track.known
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    spans: list[tuple[float, float]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        now = max(float(track.time_s[first]), recording.start_s)
        stop = min(float(track.time_s[last - 1]), recording.end_s)
        while now < stop:
            rate = max(float(track.speed_at(np.array([now]))[0]) / 60.0, 1e-3)
            length = float(np.clip(turns / rate, SHORTEST_S, LONGEST_S))
            # A ramp gets faster: as many turns take less time by the window's end.
            ahead = float(track.speed_at(np.array([min(now + length, stop)]))[0]) / 60.0
            length = float(np.clip(2.0 * turns / (rate + ahead), SHORTEST_S, LONGEST_S))
            if _is_plateau(track, now, min(now + PLATEAU_S, stop)):
                length = min(max(length, PLATEAU_S), max(stop - now, length))
            if now + length > stop:
                break
            if not any(g.start_s < now + length and g.end_s > now for g in recording.gaps):
                spans.append((now, now + length))
            now += (1.0 - overlap) * length
    return spans


def _is_plateau(track: SpeedTrack, start_s: float, end_s: float) -> bool:
    inside = (track.time_s >= start_s) & (track.time_s <= end_s)
    return bool(inside.any() and np.all(track.motion[inside] == "plateau"))


def _fit(
    recording: Recording,
    held: NDArray[np.bool_],
    track: SpeedTrack,
    start_s: float,
    end_s: float,
    orders: NDArray[np.float64],
) -> tuple[NDArray[np.complex128], NDArray[np.float64], NDArray[np.float64]]:
    """Amplitudes and noise beside each order in one window, both of shape (k, a).

    The third value, shape (a,), is the share of samples that the sensor's range holds, or
    not-a-number where the window has too few for a fit.
    """
    rate = recording.rate_hz
    first = max(0, int(np.ceil((start_s - recording.start_s) * rate)))
    last = min(recording.length, int((end_s - recording.start_s) * rate))
    x = recording.samples[:, first:last].astype(np.float64)
    good, count = held[:, first:last], x.shape[1]
    amplitude = np.zeros((len(x), len(orders)), dtype=complex)
    noise = np.full(amplitude.shape, np.inf)
    least = 2 * len(orders) + 8
    if count < least:
        return amplitude.T, noise.T, np.full(len(x), np.nan)
    time = recording.start_s + (first + np.arange(count)) / rate
    turns = track.turns_at(time)
    angle = 2.0 * np.pi * (turns - turns[0])
    # An order that folds onto another within this window cannot be told from it: fitting both
    # would set two huge numbers against each other.  The lower one is kept.
    kept = apart(orders, (turns[-1] - turns[0]) / (time[-1] - time[0]), count / rate, rate)
    whole = reader(angle, orders[kept]) if good.all(axis=1).any() else None
    share = good.mean(axis=1)
    for axis, row in enumerate(x):
        inside = good[axis]
        if inside.sum() < max(least, LEAST_HELD * count):
            share[axis] = min(share[axis], np.nextafter(LEAST_HELD, 0.0))
            continue
        read = whole if whole is not None and inside.all() else None
        read = read or reader(angle, orders[kept], held=inside)
        seen, beside = read.read(row)
        amplitude[axis, kept], noise[axis] = seen, beside.max()
        noise[axis, kept] = beside
    amplitude *= np.exp(-2j * np.pi * orders * turns[0])
    return amplitude.T, noise.T, share


def _systematic(
    recording: Recording,
    orders: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    speed_u_rpm: NDArray[np.float64],
    length_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Relative standard uncertainty from speed error and stamp jitter, shape (k, w).

    A speed wrong by u turns the phase by 2 pi o u t inside the window, which costs
    (2 pi o u)^2 var(t) / 2 of the amplitude.  White jitter of the stamps costs
    (2 pi f s)^2 / 2 (characteristic function of a normal law); taken as a rectangular bound.
    """
    frequency = orders[:, None] * speed_rpm[None, :] / 60.0
    slip = 2.0 * np.pi * orders[:, None] * (speed_u_rpm / 60.0)[None, :]
    from_speed = np.minimum(0.5 * slip**2 * _HANN_VARIANCE * length_s[None, :] ** 2, 1.0)
    jitter = recording.clock.jitter_s if recording.clock is not None else 0.0
    from_jitter = np.minimum(0.5 * (2.0 * np.pi * frequency * jitter) ** 2, 1.0) / np.sqrt(3.0)
    return np.asarray(np.hypot(from_speed, from_jitter))


def _from_selection(
    noise: NDArray[np.float64], share: NDArray[np.float64], count: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Standard uncertainty from samples beyond the sensor's range, shape (k, a, w).

    White scatter s of n samples under a Hann weight leaves s sqrt(3 / n) on each component.
    """
    share = np.clip(np.nan_to_num(share, nan=1.0), LEAST_HELD, 1.0)
    lost = (1.0 - share) / share * np.sqrt(count * share / 3.0)
    return np.asarray(_SELECTION * np.where((lost > 0.0) & np.isfinite(noise), noise, 0.0) * lost)


def uncertainty_at(track: SpeedTrack, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """The track's standard uncertainty at any times, rpm."""
    if len(track.time_s) == 0:
        return np.zeros_like(time_s)
    u = np.nan_to_num(track.standard_uncertainty_rpm, nan=0.0)
    return np.asarray(np.interp(time_s, track.time_s, u))
