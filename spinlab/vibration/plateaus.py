"""First and second order on each plateau, in every unit, per axis and as an orbit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import Estimate, SpeedTrack
from spinlab.vibration.tracking import OrderTrack
from spinlab.vibration.units import Level, Orbit, level, orbit

SHORTEST_S = 2.0


@dataclass(frozen=True, kw_only=True)
class Span:
    """A plateau: where it lies and the mean speed."""

    start_s: float
    end_s: float
    speed_rpm: float


@dataclass(frozen=True, kw_only=True)
class PlateauLevel:
    """One order on one plateau.

    Attributes:
        order: 1 or 2.
        span: the plateau.
        total: root sum of squares over the axes.
        axes: (name, level) of each axis.
        orbit: the path of the sensor's place; None with one axis.
        reason: why there is no level; "" otherwise.
    """

    order: float
    span: Span
    total: Level | None = None
    axes: tuple[tuple[str, Level], ...] = ()
    orbit: Orbit | None = None
    reason: str = ""


def plateau_spans(track: SpeedTrack) -> tuple[Span, ...]:
    """Stretches of plateau of two seconds and more."""
    flat = (track.motion == "plateau") & track.known
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]]).astype(np.int8)))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(track.time_s[first]), float(track.time_s[last - 1])
        if end - start >= SHORTEST_S:
            mean = float(np.mean(track.speed_rpm[first:last]))
            found.append(Span(start_s=start, end_s=end, speed_rpm=mean))
    return tuple(found)


def plateau_levels(
    orders: OrderTrack, spans: Sequence[Span], *, wanted: Sequence[float] = (1.0, 2.0)
) -> tuple[PlateauLevel, ...]:
    """Mean level of the wanted orders on each plateau."""
    return tuple(_level(orders, order, span) for span in spans for order in wanted)


def _level(orders: OrderTrack, order: float, span: Span) -> PlateauLevel:
    k = orders.index(order)
    half = 0.5 * orders.length_s
    inside = (orders.time_s - half >= span.start_s - 0.3) & (
        orders.time_s + half <= span.end_s + 0.3
    )
    usable = inside & orders.usable(order)
    if usable.sum() <= 0.5 * inside.sum() or not usable.any():
        why = [t for t in orders.trouble[k][inside] if t]
        return PlateauLevel(
            order=order, span=span, reason=why[0] if why else "no window fits into the plateau"
        )
    amplitude, u = orders.amplitude[k][:, usable], orders.standard_uncertainty[k][:, usable]
    shared = orders.shared_uncertainty[k][:, usable]
    noise = np.sqrt(np.maximum(u**2 - shared**2, 0.0))
    frequency = order * span.speed_rpm / 60.0
    frequency_u = order * float(np.median(orders.speed_uncertainty_rpm[usable])) / 60.0
    share, unseen = _shares(orders.time_s[usable], orders.length_s[usable], span)
    sizes = [
        _size(amplitude[a : a + 1], noise[a : a + 1], shared[a : a + 1], share, unseen)
        for a in range(len(amplitude))
    ]
    total = _size(amplitude, noise, shared, share, unseen)
    axes = tuple(
        (name, level(size.value, size.standard_uncertainty, frequency, frequency_u))
        for name, size in zip(orders.axes, sizes, strict=True)
    )
    return PlateauLevel(
        order=order,
        span=span,
        total=level(total.value, total.standard_uncertainty, frequency, frequency_u),
        axes=axes,
        orbit=orbit(_aligned(amplitude)) if len(axes) > 1 else None,
    )


def _shares(
    time_s: NDArray[np.float64], length_s: NDArray[np.float64], span: Span
) -> tuple[NDArray[np.float64], float]:
    """Share of a plateau that each window stands for, shape (w,), and the share that none sees.

    Windows differ in length, so each stands for what is nearer to its centre than to any other's;
    it sees its middle half, where its weight is half its largest or more.
    """
    middles = 0.5 * (time_s[1:] + time_s[:-1])
    edges = np.clip([span.start_s, *middles, span.end_s], span.start_s, span.end_s)
    part = np.diff(edges)
    unseen = float(np.sum(np.maximum(part - 0.5 * length_s, 0.0)))
    return part / part.sum(), unseen / float(part.sum())


def _size(
    amplitude: NDArray[np.complex128],
    u: NDArray[np.float64],
    shared: NDArray[np.float64],
    share: NDArray[np.float64],
    unseen: float,
) -> Estimate:
    """Root mean square over a plateau of the vector's size, the noise's power removed.

    What the size does from window to window beyond its noise is the plateau's own change and part
    of its mean; only where no window looks does it make the mean uncertain.

    Args:
        amplitude: shape (a, w).
        u: standard uncertainty of each component from the noise, shape (a, w).
        shared: from what all windows have in common, which their number does not reduce.
        share: of the plateau that each window stands for, shape (w,); they sum to 1.
        unseen: share of the plateau that no window sees.
    """
    size = np.sqrt(np.sum(np.abs(amplitude) ** 2, axis=0))
    mean_square = float(share @ (size**2 - 2.0 * np.sum(u**2, axis=0)))
    # Along the vector only its own direction's noise counts; a vector lost in noise has none.
    along = np.sum((np.abs(amplitude) * u) ** 2, axis=0) / np.maximum(size, 1e-30) ** 2
    noise = float(share @ np.maximum(along, np.mean(u**2, axis=0)))
    # Half-overlapping windows: about two thirds of them are independent.
    count = max(1.0, 2.0 / 3.0 / float(np.sum(share**2)))
    spread = float(np.sqrt(share @ (size - share @ size) ** 2)) if len(size) > 2 else noise**0.5
    common = float(np.sqrt(share @ np.sum(shared**2, axis=0)))
    scatter = float(np.hypot(np.sqrt(noise / count), unseen * spread))
    return Estimate(
        value=float(np.sqrt(max(mean_square, 0.0))),
        standard_uncertainty=float(np.hypot(scatter, common)),
    )


def _aligned(amplitude: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Mean amplitude vector, each window's common phase turned to that of the first."""
    reference = amplitude[:, 0]
    turn = np.exp(-1j * np.angle(np.sum(amplitude * np.conj(reference)[:, None], axis=0)))
    return np.asarray(np.mean(amplitude * turn, axis=1))
