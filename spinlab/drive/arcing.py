"""Brush arcing: noise that swells at twice the mains while the motor pulls.

An arc is a burst of broadband noise each time a bar leaves a brush under current.  Of a mains-fed
commutator motor the current peaks twice per mains period, so the noise swells at 100 or 120 Hz.
The motor's own tones swell likewise and sound motors have them: they are levelled out of the
spectrum first.  A room's tail carries the swell on, much weakened (modulation transfer function,
Houtgast and Steeneken 1985), but not the bursts of single bars at some kilohertz: told the true
angle of the motor, they were not found in six of eight simulated units that arc grossly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import Estimate, SpeedTrack

# Where the arcs stand out differs from machine to machine, so each band is read by itself.
BANDS_HZ = ((1500.0, 3000.0), (3000.0, 5000.0), (5000.0, 8000.0), (8000.0, 14000.0))
SLOWEST_RPM = 300.0
_PIECE_S = 2.0
_MOST_PIECES = 60
_LEAST_PIECES = 4
_ENVELOPE_HZ = 1000.0  # enough for twice the mains
_LEVEL_HZ = 120.0  # width over which a spectrum is levelled
_TONE = 2.5  # times the median magnitude around it: Rayleigh noise exceeds that in 1 % of cells
_BESIDE_CELLS = (4, 30)  # of half a hertz: where the noise beside the line is read
_COAST_PIECES = 3
_SAME_SPEED = 0.04


@dataclass(frozen=True, kw_only=True)
class Swell:
    """The noise of one band at twice the mains.

    Attributes:
        band_hz: the band.
        index: modulation index of its power while the motor pulls.  A room lowers it, and
            levelling by about a tenth.
        p_value: chance of as much in steady noise.
        idle_p_value: the same while the motor is off, None where that was not recorded.
        motor_share: share of the band's power that is gone at the same speeds with the motor off,
            None where no coast-down was recorded.
    """

    band_hz: tuple[float, float]
    index: Estimate
    p_value: float
    idle_p_value: float | None = None
    motor_share: float | None = None


@dataclass(frozen=True, kw_only=True)
class Arcing:
    """Signs of arcing.

    Attributes:
        swells: one for each band that the recording holds.
        tail: excess kurtosis of the strongest band's levelled noise, median over the pieces (0:
            normal noise); knocks and a phone's noise suppression raise it as well.
        reason: why there is no number; "" otherwise.
    """

    swells: tuple[Swell, ...] = ()
    tail: float | None = None
    reason: str = ""

    @property
    def strongest(self) -> Swell | None:
        """The band that steady noise explains worst."""
        return min(self.swells, key=lambda swell: swell.p_value, default=None)

    @property
    def p_value(self) -> float | None:
        """Chance of the strongest swell in steady noise, every band counted."""
        best = self.strongest
        return None if best is None else min(1.0, len(self.swells) * best.p_value)

    @property
    def motor_share(self) -> float | None:
        """The largest share of any band that the motor makes."""
        known = [s.motor_share for s in self.swells if s.motor_share is not None]
        return max(known, default=None)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Pieces:
    """What was read in pieces of two seconds, one row a piece and one column a band.

    `lines` and `beside` are squared modulation indices, at twice the mains and just beside it.
    """

    speed_rpm: NDArray[np.float64]
    lines: NDArray[np.float64]
    beside: NDArray[np.float64]
    power: NDArray[np.float64]
    tail: NDArray[np.float64]


def arcing(
    recording: Recording,
    track: SpeedTrack,
    *,
    mains_hz: float,
    usable_band_hz: tuple[float, float] | None = None,
) -> Arcing:
    """Look for a swell of the noise at twice the mains while the motor pulls.

    Args:
        recording: sound.
        track: the drum's speed.
        mains_hz: mains frequency.
        usable_band_hz: what the recorder let through.
    """
    top = min(0.45 * recording.rate_hz, (usable_band_hz or (0.0, np.inf))[1])
    bands = tuple((low, min(high, top)) for low, high in BANDS_HZ if top > 1.3 * low)
    if len(bands) < 2:
        return Arcing(
            reason=say(
                "the recording holds nothing above {high:.0f} Hz; arcing crackles from 2 kHz up",
                high=top,
            )
        )
    starts, idle = _starts(recording, track)
    if len(starts) < _LEAST_PIECES:
        return Arcing(reason="the drum is driven for less than five seconds")
    driven = _read(recording, track, starts, bands, mains_hz)
    off = _read(recording, track, idle, bands, mains_hz) if len(idle) >= _COAST_PIECES else None
    swells = tuple(_swell(driven, off, column, band) for column, band in enumerate(bands))
    best = min(range(len(bands)), key=lambda column: swells[column].p_value)
    return Arcing(swells=swells, tail=float(np.median(driven.tail[:, best])))


def _starts(recording: Recording, track: SpeedTrack) -> tuple[list[float], list[float]]:
    """Starts of half-overlapping pieces: drum driven, and drum running out."""
    driven, off = [], []
    for now in np.arange(recording.start_s, recording.end_s - _PIECE_S, 0.5 * _PIECE_S):
        inside = (track.time_s >= now) & (track.time_s < now + _PIECE_S)
        if not inside.any() or not np.all(track.speed_rpm[inside] > SLOWEST_RPM):
            continue
        coasting = track.motion[inside] == "coasting"
        if coasting.all():
            off.append(float(now))
        elif not coasting.any():
            driven.append(float(now))
    return driven[:: -(-len(driven) // _MOST_PIECES) or 1], off[:_MOST_PIECES]


def _read(
    recording: Recording,
    track: SpeedTrack,
    starts: list[float],
    bands: tuple[tuple[float, float], ...],
    mains_hz: float,
) -> _Pieces:
    from scipy.fft import rfft

    rows = []
    for start in starts:
        piece = recording.cut(start, start + _PIECE_S)
        values, time, seconds = _on_angle(piece, track)
        spectrum, count = rfft(values), len(values)
        plain = np.abs(rfft(piece.samples.mean(axis=0))) ** 2
        for low, high in bands:
            first, last = round(low * seconds), round(high * seconds)
            noise = _levelled(spectrum[first:last], round(_LEVEL_HZ * seconds))
            square = _power(noise, first, count)
            line, beside = _line(square, time, 2.0 * mains_hz)
            heavy = float(np.mean(square**2) / np.mean(square) ** 2 - 3.0)
            rows.append((line, beside, float(plain[first:last].sum()), heavy))
    table = np.array(rows, dtype=np.float64).reshape(len(starts), len(bands), 4)
    middles = np.array(starts) + 0.5 * _PIECE_S
    return _Pieces(
        speed_rpm=track.speed_at(middles),
        lines=table[:, :, 0],
        beside=table[:, :, 1],
        power=table[:, :, 2],
        tail=table[:, :, 3],
    )


def _on_angle(
    piece: Recording, track: SpeedTrack
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """The signal at even steps of the drum's angle, the times of these, and the piece's length.

    A tone of the motor that sweeps with a ramp is one line there, and can be levelled out.
    """
    from scipy.fft import next_fast_len
    from scipy.ndimage import map_coordinates

    values = piece.samples.mean(axis=0, dtype=np.float64)
    own = np.arange(len(values)) / piece.rate_hz
    coarse = np.linspace(own[0], own[-1], 200)
    turns = track.turns_at(piece.start_s + coarse)
    # As many steps as leave the slowest part its own sample rate.
    slowest = float(np.min(np.diff(turns)) * len(coarse) / (turns[-1] - turns[0]))
    count = next_fast_len(int(len(values) / np.clip(slowest, 0.5, 1.0)), real=True)
    time = np.interp(np.linspace(turns[0], turns[-1], count), turns, coarse)
    even = map_coordinates(values, [time * piece.rate_hz], order=3, mode="nearest")
    return np.asarray(even), piece.start_s + time, len(values) / piece.rate_hz


def _levelled(spectrum: NDArray[np.complex128], width: int) -> NDArray[np.complex128]:
    """A band's spectrum over the median magnitude around it, tones brought down to that median."""
    size = np.abs(spectrum)
    count = max(1, len(size) // width)
    parts = np.array_split(size, count)
    places = np.cumsum([len(part) for part in parts]) - 0.5 * np.array([len(p) for p in parts])
    around = np.interp(np.arange(len(size)), places, [np.median(part) for part in parts])
    flat = spectrum / np.maximum(around, 1e-20)
    return np.where(size > _TONE * around, flat / np.maximum(np.abs(flat), 1e-20), flat)


def _power(band: NDArray[np.complex128], first: int, count: int) -> NDArray[np.float64]:
    """Square of the signal whose spectrum is `band` from cell `first` on, zero elsewhere."""
    from scipy.fft import irfft

    whole = np.zeros(count // 2 + 1, dtype=np.complex128)
    whole[first : first + len(band)] = band
    return np.asarray(irfft(whole, n=count) ** 2)


def _line(
    square: NDArray[np.float64], time_s: NDArray[np.float64], line_hz: float
) -> tuple[float, float]:
    """Squared modulation index at a frequency, and the noise's just beside it."""
    cell = ((time_s - time_s[0]) * _ENVELOPE_HZ).astype(np.int64)
    held = np.bincount(cell)[:-1]
    means = np.bincount(cell, square)[:-1] / np.maximum(held, 1)
    middle = time_s[0] + (np.arange(len(held)) + 0.5) / _ENVELOPE_HZ
    window = np.hanning(len(held))
    weighted = window * (means / means.mean() - 1.0)
    spectrum = np.fft.fft(weighted * np.exp(-2j * np.pi * line_hz * middle))
    index = (2.0 * np.abs(spectrum) / window.sum()) ** 2
    near, far = _BESIDE_CELLS
    return float(index[0]), float(np.mean(np.r_[index[near:far], index[-far:-near]]))


def _swell(driven: _Pieces, off: _Pieces | None, column: int, band: tuple[float, float]) -> Swell:
    line, beside = driven.lines[:, column], driven.beside[:, column]
    index = float(np.sqrt(max(float(np.mean(line - beside)), 0.0)))
    spread = float(np.std(line) / np.sqrt(max(_independent(len(line)), 1.0)))
    floor = float(np.sqrt(np.mean(beside) / len(beside)))
    # A drum order that meets twice the mains does so at one speed: what the others show decides.
    strongest = driven.speed_rpm[np.argmax(line / np.maximum(beside, 1e-30))]
    elsewhere = np.abs(driven.speed_rpm / strongest - 1.0) > _SAME_SPEED
    p = _chance(line[elsewhere], beside[elsewhere])
    return Swell(
        band_hz=band,
        index=Estimate(
            value=index, standard_uncertainty=max(spread / (2.0 * max(index, floor)), 0.5 * floor)
        ),
        p_value=p,
        idle_p_value=None if off is None else _chance(off.lines[:, column], off.beside[:, column]),
        motor_share=None if off is None else _share(driven, off, column),
    )


def _independent(count: int) -> float:
    """Half-overlapping Hann windows share a third of their noise."""
    return 2.0 * count / 3.0


def _chance(line: NDArray[np.float64], beside: NDArray[np.float64]) -> float:
    """Chance that steady noise makes such lines: each over its noise is exponential."""
    from scipy.stats import gamma

    if len(line) == 0:
        return 1.0
    shape = max(_independent(len(line)), 1.0)
    return float(gamma.sf(np.mean(line / np.maximum(beside, 1e-30)), shape, scale=1.0 / shape))


def _share(driven: _Pieces, off: _Pieces, column: int) -> float | None:
    """Share of a band's power that the drum running out at the same speeds does not make."""
    speed, level = np.log(off.speed_rpm), np.log(np.maximum(off.power[:, column], 1e-30))
    inside = (driven.speed_rpm >= off.speed_rpm.min()) & (driven.speed_rpm <= off.speed_rpm.max())
    if not inside.any() or np.ptp(speed) < 0.1:
        return None
    slope, start = np.polyfit(speed, level, 1)
    expected = start + slope * np.log(driven.speed_rpm[inside])
    more = np.median(np.log(np.maximum(driven.power[inside, column], 1e-30)) - expected)
    return float(np.clip(1.0 - np.exp(-more), 0.0, 1.0))
