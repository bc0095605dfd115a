"""Zoom: a plateau read from the whole of its samples at once, where its lines keep their phase.

Frames of a second or two tell a rate to a part in a thousand and average no better than their
number.  A line that keeps its phase through a plateau tells it to the Cramer-Rao bound, which falls
with the plateau's length to the power 3/2.  So the whole orders of the drum are brought to rest by
one constant rate per plateau, and the rate at which all of them together stand out most is its
speed: the periodogram's peak, which is the maximum-likelihood estimate for one line in white noise
(Rife and Boorstyn 1974, IEEE Trans. IT-20:591-598), and the weighted sum for several that share one
fundamental.  What their common phase still does about that rate is the plateau's ripple.  A drum
that hunts smears the peak, and its frames are left as they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.pieces import still_pieces
from spinlab.speed.steady_tones import MAINS_HZ

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

# Rates tried about a plateau's median (ln), and how far they may lie apart: in parts of the width
# of the highest order's line.
REACH = 0.004
STEPS_PER_LINE = 32.0
# Samples per second of a line at rest: what remains of its neighbours lies outside the reach.
REST_RATE_HZ = 8.0
FEWEST = 8
# What a plateau's ends may still lead up to is cut off, s.
CUT_S = 0.45
SHORTEST_S = 2.0
# Parts in which any drum keeps its phase, s, and the least share of what they explain, each with a
# phase of its own, that one phase must.
PART_S = 0.5
LEAST_COHERENT = 0.9
# Half the window over which the slope of the phase is a frame's own ripple, s.
RIPPLE_S = 0.75
# What stands still is no order of the drum if it lies this close to where one is looked for.
FOREIGN_HZ = 0.3
# Nats by which the peak must exceed any other rate, and orders that it must rest on, each of which
# stands out by some nats itself.
LEAST_NATS = 12.0
LEAST_ORDERS = 2
LINE_NATS = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Zoomed:
    """Plateaus read as a whole.

    Attributes:
        log_hz, sigma: shape (frames,), ln of the drum's rate in each of their frames and its
            standard uncertainty; nan elsewhere.
        wholes: for each plateau its frames, the mean of ln(rate) and its standard uncertainty.
    """

    log_hz: Floats
    sigma: Floats
    wholes: tuple[tuple[NDArray[np.int64], float, float], ...]


def zoom(
    bands: tuple[Band, ...],
    start_s: float,
    time_s: Floats,
    log_hz: Floats,
    run: NDArray[np.int64],
    orders: Floats,
    *,
    steady_hz: Floats,
) -> Zoomed:
    """Read every standing piece of the drum's course as a whole.

    Args:
        bands: tone bands of the recording.
        start_s: time of the first sample.
        time_s: shape (frames,), s.
        log_hz: shape (frames,), ln of the drum's rate.
        run: number of the unbroken run of each frame.
        orders: whole orders of the drum that may be heard.
        steady_hz: frequencies of tones that stand still, which keep their phase better than any
            drum; so do the mains and its harmonics, heard or not.
    """
    foreign_hz = np.concatenate([steady_hz, np.outer(MAINS_HZ, np.arange(1, 21)).ravel()])
    fine, sigma = np.full(len(time_s), np.nan), np.full(len(time_s), np.nan)
    wholes: list[tuple[NDArray[np.int64], float, float]] = []
    for piece in still_pieces(log_hz, run):
        inside = time_s[piece]
        span_s = float(inside[0]) + CUT_S, float(inside[-1]) - CUT_S
        middle = float(np.median(log_hz[piece]))
        level = piece[np.abs(log_hz[piece] - middle) < REACH]
        if span_s[1] - span_s[0] < SHORTEST_S or not len(level):
            continue
        pitch_hz = orders * np.exp(middle)
        near = np.abs(pitch_hz[:, None] - foreign_hz).min(axis=1) < FOREIGN_HZ + REACH * pitch_hz
        read = _piece(bands, span_s[0] - start_s, span_s[1] - start_s, middle, orders[~near])
        if read is None:
            continue
        ripple, unsure = _ripple(read, time_s[level] - span_s[0])
        fine[level], sigma[level] = read.log_hz + ripple, np.hypot(read.sigma, unsure)
        wholes.append((level, read.log_hz, read.sigma))
    return Zoomed(log_hz=fine, sigma=sigma, wholes=tuple(wholes))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Line:
    """A whole order of the drum, brought to rest over one piece; `step_s` from value to value."""

    order: float
    values: Complex
    step_s: float

    def derotated(self, shift_hz: float) -> Complex:
        """The values as they would be if the drum turned faster by `shift_hz`."""
        turns = self.order * shift_hz * self.step_s * np.arange(len(self.values))
        turned: Complex = self.values * np.exp(-2j * np.pi * turns)
        return turned

    def power(self, shift_hz: Floats) -> Floats:
        """Periodogram at each shift of the drum's rate."""
        place = np.arange(len(self.values)) - 0.5 * (len(self.values) - 1)
        turns = self.order * self.step_s * shift_hz[:, None] * place
        power: Floats = np.abs(np.exp(-2j * np.pi * turns) @ self.values) ** 2
        return power

    def noise(self, shift_hz: float = 0.0) -> float:
        """Mean power of a periodogram line of noise, from the middle one of all others."""
        power = np.abs(np.fft.fft(self.derotated(shift_hz))) ** 2
        return max(float(np.median(power[1:])) / float(np.log(2.0)), 1e-30)

    def in_parts(self, shift_hz: float) -> float:
        """The power it would have if each part of the piece had a phase of its own."""
        count = max(2, round(len(self.values) * self.step_s / PART_S))
        parts = np.array_split(self.derotated(shift_hz), count)
        # each part's own noise counts, on average, as much as that of the whole
        noise = (count - 1) * self.noise(shift_hz)
        apart = sum(abs(part.sum()) ** 2 / len(part) for part in parts)
        return len(self.values) * float(apart) - noise


@dataclass(frozen=True, kw_only=True, eq=False)
class _Read:
    """ln(rate) of one piece with its standard uncertainty, and what told it."""

    log_hz: float
    sigma: float
    heard: list[_Line]
    shift_hz: float


def _piece(
    bands: tuple[Band, ...], first_s: float, last_s: float, log_hz: float, orders: Floats
) -> _Read | None:
    """The rate over some seconds of the bands' own time; None where no phase is kept."""
    rate_hz, length_s = float(np.exp(log_hz)), last_s - first_s
    made = [_at_rest(bands, first_s, last_s, float(order), rate_hz) for order in orders]
    lines = [line for line in made if line is not None]
    if not lines:
        return None
    step = 1.0 / (STEPS_PER_LINE * max(line.order for line in lines) * rate_hz * length_s)
    shift = np.arange(-REACH, REACH + step, step)
    heard, nats = _heard(lines, rate_hz * shift)
    total = nats.sum(axis=0)
    best = int(np.argmax(total))
    if len(heard) < LEAST_ORDERS or not 0 < best < len(shift) - 1:
        return None
    around = np.abs(shift - shift[best]) < 2.0 * STEPS_PER_LINE * step
    beside = total[~around].max() if (~around).any() else 0.0
    shift_hz = rate_hz * float(shift[best])
    apart = [line.in_parts(shift_hz) / line.noise(shift_hz) for line in heard]
    kept = float(total[best]) / sum(apart)
    if total[best] - beside < LEAST_NATS or kept < LEAST_COHERENT:
        return None
    before, at, after = total[best - 1 : best + 2]
    bend = 2.0 * at - before - after
    place = shift[best] + 0.5 * step * (after - before) / bend
    squares = np.average([line.order**2 for line in heard], weights=nats[:, best])
    drift = _drift(kept, length_s, rate_hz * float(np.sqrt(squares)))
    return _Read(
        log_hz=log_hz + float(place),
        sigma=float(np.hypot(step / np.sqrt(bend), drift)),
        heard=heard,
        shift_hz=rate_hz * float(place),
    )


def _ripple(read: _Read, time_s: Floats) -> tuple[Floats, Floats]:
    """Departure of ln(rate) about each time since the piece began, and its standard uncertainty.

    The slope of the drum's phase as its lines together have it: each weighs by its order and by its
    power over noise, as in a least-squares fit of one phase to all.
    """
    grid = read.heard[0]
    at_s = (np.arange(len(grid.values)) + 0.5) * grid.step_s
    total, weight = np.zeros(len(at_s)), 0.0
    for line in read.heard:
        values = line.derotated(read.shift_hz)
        middle = values.mean()
        power = len(values) * abs(middle) ** 2 / line.noise(read.shift_hz)
        own_s = (np.arange(len(values)) + 0.5) * line.step_s
        phase = np.interp(at_s, own_s, np.angle(values * np.conj(middle)))
        total += power * line.order * phase
        weight += power * line.order**2
    turns = total / weight
    # a value's phase is noise over amplitude, of which half lies across it
    unsure = np.sqrt(0.5 / weight)
    rate_hz = 2.0 * np.pi * float(np.exp(read.log_hz))
    out, sigma = np.zeros(len(time_s)), np.zeros(len(time_s))
    for k, middle_s in enumerate(time_s):
        near = np.abs(at_s - np.clip(middle_s, at_s[0], at_s[-1])) <= RIPPLE_S
        lever = at_s[near] - at_s[near].mean()
        spread = float((lever**2).sum())
        out[k] = float(lever @ turns[near]) / spread / rate_hz
        sigma[k] = unsure / np.sqrt(spread) / rate_hz
    return out - out.mean(), sigma


def _heard(lines: list[_Line], shift_hz: Floats) -> tuple[list[_Line], Floats]:
    """The lines that stand out, and their log-likelihood at each shift, (lines, shifts)."""
    powers = [line.power(shift_hz) / line.noise() for line in lines]
    heard = [k for k, power in enumerate(powers) if power.max() > LINE_NATS]
    if not heard:
        return [], np.zeros((0, len(shift_hz)))
    best = float(shift_hz[np.argmax(np.sum([powers[k] for k in heard], axis=0))])
    # a strong line leaks into what lies beside it unless it is brought to rest exactly
    nats = [powers[k] * (lines[k].noise() / lines[k].noise(best)) for k in heard]
    return [lines[k] for k in heard], np.array(nats)


def _drift(kept: float, length_s: float, pitch_hz: float) -> float:
    """What a rate that drifts may be off by, as a share.

    The lines' power that is lost is the square of a phase that wanders; a straight line through
    such a phase, spread evenly, is known to sqrt(12) of it over the length.
    """
    wander = float(np.sqrt(max(1.0 - kept, 0.0)))
    return wander * float(np.sqrt(12.0)) / (2.0 * np.pi * length_s * pitch_hz)


def _at_rest(
    bands: tuple[Band, ...], first_s: float, last_s: float, order: float, rate_hz: float
) -> _Line | None:
    """An order brought to rest at about `REST_RATE_HZ`; None where it is in no band."""
    pitch_hz = order * rate_hz
    band = next((b for b in bands if b.low_hz <= pitch_hz < b.high_hz), None)
    if band is None:
        return None
    first, last = max(0, round(first_s * band.rate_hz)), round(last_s * band.rate_hz)
    values = band.signal[first:last].astype(np.float64)
    # whole turns, ending between two samples: over them every other order adds up to nothing
    size = max(1, round(rate_hz / REST_RATE_HZ)) * band.rate_hz / rate_hz
    count = int((len(values) - 1) / size)
    if count < FEWEST:
        return None
    place = np.arange(len(values))
    resting = values * np.exp(-2j * np.pi * place * (pitch_hz / band.rate_hz))
    total = np.concatenate([[0.0], np.cumsum(resting)])
    edges = np.interp(np.arange(count + 1) * size, np.arange(len(total)), total)
    return _Line(order=order, values=np.diff(edges), step_s=size / band.rate_hz)
