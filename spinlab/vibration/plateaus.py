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
    squares = np.abs(amplitude) ** 2
    sizes = [_size(squares[a], noise[a], shared[a]) for a in range(len(squares))]
    total = _size(
        squares.sum(axis=0),
        np.sqrt(np.sum(noise**2, axis=0)),
        np.sqrt(np.sum(shared**2, axis=0)),
    )
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


def _size(
    square: NDArray[np.float64], u: NDArray[np.float64], shared: NDArray[np.float64]
) -> Estimate:
    """Root mean square over the windows, the noise's power removed, with its uncertainty.

    Args:
        square: squared size in each window.
        u: standard uncertainty of the size in each, from its own noise.
        shared: from what all windows have in common, which their number does not reduce.
    """
    # Half-overlapping windows: about two thirds of them are independent.
    count = max(1.0, 2.0 * len(square) / 3.0)
    noise = 2.0 * float(np.mean(u**2))
    value = float(np.sqrt(max(float(np.mean(square)) - noise, 0.0)))
    spread = float(np.sqrt(square).std(ddof=1)) if len(square) > 2 else 0.0
    own = float(np.sqrt(np.mean(u**2)))
    scatter = max(spread, own) / float(np.sqrt(count))
    common = float(np.sqrt(np.mean(shared**2)))
    return Estimate(value=value, standard_uncertainty=float(np.hypot(scatter, common)))


def _aligned(amplitude: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Mean amplitude vector, each window's common phase turned to that of the first."""
    reference = amplitude[:, 0]
    turn = np.exp(-1j * np.angle(np.sum(amplitude * np.conj(reference)[:, None], axis=0)))
    return np.asarray(np.mean(amplitude * turn, axis=1))
