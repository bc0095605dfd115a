"""Broadband noise against speed: what late damage, or a bearing run dry, leaves to be measured.

When a race is damaged all round, impacts overlap: the lines sink into a roar, kurtosis falls
back towards that of noise while the level at high frequency keeps rising with speed (Randall and
Antoni, Mechanical Systems and Signal Processing 25 (2011) 485-520, section 2).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from spinlab.bearings.evidence import Competitor, LineEvidence, Roar
from spinlab.bearings.families import dominance
from spinlab.bearings.geometry import MountedBearing
from spinlab.bearings.group import Group
from spinlab.bearings.merits import trust
from spinlab.bearings.patterns import HIGHEST, Pattern
from spinlab.bearings.score import harmonic_nepers, look_shares, read_line
from spinlab.bearings.spectra import MASK_LINES, EnvelopeSpectra
from spinlab.bearings.stagewise import stretches
from spinlab.envelope.kurtosis import Band, complex_envelope
from spinlab.envelope.significance import log_survival
from spinlab.orders import Span
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

# Where bearing housings and tub shells ring; common practice, no published source.
LOW_HZ = 2000.0
HIGH_HZ = 8000.0
_LEAST_WIDTH_HZ = 1000.0
_EXCERPT_S = 3.0
_LEAST_S = 0.8
# Level is judged over this time when kurtosis is read, so that a change of speed is no impact.
_LEVEL_S = 0.25
_QUIET_PERCENTILE = 5.0
_FRAME_S = 0.25
_QUIET_FRAMES = 120
_CAGE_WIDTH = 0.004
# -ln p of a line that stands by itself: one in a hundred.
_STANDS = 4.6
# A load that turns with the shaft is met by the cage at 1 - FTF: both rates and their sums.
_SHAFT_SIDES = 2


def read_roar(
    recording: Recording,
    track: SpeedTrack,
    group: Group,
    bearings: Sequence[MountedBearing],
    carrier_hz: tuple[float, float],
    *,
    uncertainty: float,
    causes: Sequence[Competitor] = (),
) -> Roar | None:
    """Level, kurtosis and slow modulation of the high band in stretches of different speed.

    Args:
        recording: the first channel is read.
        track: the drum's speed.
        group: the drum's group, for its spectra.
        bearings: whose cage rates to look at.
        carrier_hz: usable band.
        uncertainty: relative standard uncertainty of the speed.
        causes: of other lines, named where they turn or beat at the cage's rate.

    Returns:
        None where the band is too narrow or nothing is long enough.
    """
    band = Band(low_hz=max(LOW_HZ, carrier_hz[0]), high_hz=min(HIGH_HZ, carrier_hz[1]))
    if band.width_hz < _LEAST_WIDTH_HZ:
        return None
    rows = []
    for span in _excerpts(track, group.spans):
        values = _samples(recording, span)
        if len(values) < _LEAST_S * recording.rate_hz:
            continue
        envelope, rate_hz = complex_envelope(values, recording.rate_hz, band)
        power = (envelope.real**2 + envelope.imag**2).astype(np.float64)
        speed = float(np.nanmean(track.speed_at(np.array(span))))
        rows.append((speed, 10.0 * np.log10(power.mean() + 1e-30), _kurtosis(power, rate_hz)))
    if not rows:
        return None
    speed_rpm, level_db, kurtosis = (np.array(column) for column in zip(*rows, strict=True))
    slope, spread = _slope(speed_rpm, level_db)
    widest = max(range(len(group.merits)), key=lambda i: group.merits[i].band.width_hz)
    fastest = int(np.argmax(speed_rpm))
    cage, balls, cage_share = _cage_lines(group, bearings, uncertainty)
    return Roar(
        speed_rpm=speed_rpm,
        level_db=level_db - level_db[int(np.argmin(speed_rpm))],
        slope_db_per_decade=slope,
        slope_standard_uncertainty=spread,
        kurtosis=kurtosis,
        cage_line=cage,
        ball_pass_line=balls,
        cage_share=cage_share,
        turn_modulation=_depth(group.spectra, widest, 1.0),
        above_background_db=float(level_db[fastest]) - _quiet_db(recording, band),
        band=band,
        coincides=() if cage is None else _beside(cage, causes, group.spectra.step),
    )


def _excerpts(track: SpeedTrack, spans: Sequence[Span]) -> list[Span]:
    """At most a few seconds from the middle of each stretch; ramps are cut into pieces."""
    found = []
    for span, motion in stretches(track, spans):
        length = span.end_s - span.start_s
        if motion == "plateau" or length <= 2 * _EXCERPT_S:
            middle, half = 0.5 * (span.start_s + span.end_s), 0.5 * min(length, _EXCERPT_S)
            found.append(Span(middle - half, middle + half))
            continue
        count = int(length / _EXCERPT_S)
        edges = np.linspace(span.start_s, span.end_s, count + 1)
        found += [Span(float(a), float(b)) for a, b in itertools.pairwise(edges)]
    return found


def _samples(recording: Recording, span: Span) -> NDArray[np.float32]:
    first = max(0, round((span.start_s - recording.start_s) * recording.rate_hz))
    last = round((span.end_s - recording.start_s) * recording.rate_hz)
    return recording.samples[0, first:last]


def _kurtosis(power: Array, rate_hz: float) -> float:
    mean = ndimage.uniform_filter1d(power, max(3, round(_LEVEL_S * rate_hz)), mode="nearest")
    return float(np.mean((power / np.maximum(mean, 1e-30)) ** 2)) - 2.0


def _slope(speed_rpm: Array, level_db: Array) -> tuple[float, float]:
    """Level in dB per decade of speed and its standard uncertainty; nan where one speed only."""
    x = np.log10(speed_rpm)
    spread = float(np.sum((x - x.mean()) ** 2))
    if len(x) < 3 or spread < 0.01:
        return float("nan"), float("nan")
    slope = float(np.sum((x - x.mean()) * level_db)) / spread
    residual = level_db - level_db.mean() - slope * (x - x.mean())
    return slope, float(np.sqrt(np.sum(residual**2) / (len(x) - 2) / spread))


@dataclass(frozen=True, kw_only=True)
class _Swell:
    """Where noise swells with a cage: the order, band and look, ln p after all, the balls."""

    order: float
    band: int
    log_p: float
    balls: int = 0
    look: int = 0


def _swell(group: Group, bearings: Sequence[MountedBearing], uncertainty: float) -> _Swell | None:
    """The rarest swell: one line at a cage's rate, or with it that of the balls it carries.

    Noise of worn rings swells with the cage and, N times as fast, with the balls that pass the
    fixed ring: both lines are placed by one number.
    """
    found, weights = [], _by_width(group)
    ranges = {
        (*bearing.search_range("cage", uncertainty), bearing.geometry.balls)
        for bearing in group.bearings
        if bearing in bearings
    }
    shares = np.log(look_shares(len(group.looks)))
    for (look, spectra), (low, high, balls) in itertools.product(
        enumerate(group.looks), sorted(ranges)
    ):
        seen = [
            _lone(weights, spectra, low, high),
            _carried(weights, spectra, low, high, balls),
        ]
        found += [
            replace(one, look=look, log_p=one.log_p - float(shares[look]))
            for one in seen
            if one is not None
        ]
    if not found:
        return None
    rarest = min(found, key=lambda one: one.log_p)
    ways = float(np.log(2 * len(ranges)))
    return replace(rarest, log_p=min(0.0, rarest.log_p + ways))


def _by_width(group: Group) -> Array:
    """Share of the error budget of each band, shape (bands,): in proportion to its width.

    Impacts that overlap all round fill every resonance: the wider a band, the more of the roar it
    averages.  So it is not looked for where the noise is impulsive, as single impacts are.
    """
    raw = np.array([merit.band.width_hz * trust(merit) for merit in group.merits])
    shares: Array = raw / raw.sum()
    return shares


def _lone(weights: Array, spectra: EnvelopeSpectra, low: float, high: float) -> _Swell | None:
    """The highest line in a cage's range, any band."""
    first = round(low / spectra.step)
    past = min(round(high / spectra.step) + 1, spectra.level.shape[1])
    level = np.where(spectra.free[first:past], spectra.level[:, first:past], 0.0)
    if level.size == 0:
        return None
    band, place = np.unravel_index(int(np.argmax(level)), level.shape)
    order = (first + int(place)) * spectra.step
    line = read_line(spectra, int(band), order, 0.0, "")
    if line is None:
        return None
    rare = line.log10_p * float(np.log(10.0)) + float(np.log(level.shape[1]))
    rare -= float(np.log(weights[band]))
    return _Swell(order=order, band=int(band), log_p=rare)


def _carried(
    weights: Array, spectra: EnvelopeSpectra, low: float, high: float, balls: int
) -> _Swell:
    """Cage and balls together: the sum of their nepers follows the gamma law of shape 2.

    Both must stand by themselves, and the louder counts for at most `HIGHEST`.
    """
    both = Pattern(multiple=np.array([1.0, balls]), offset=np.zeros(2), smear=np.ones(2))
    count = max(3, int((high - low) * balls / (0.5 * spectra.step)))
    orders = np.linspace(low, high, count)
    nepers, valid = harmonic_nepers(spectra, orders, 0.0, both)
    stand = valid.all(axis=-1) & (nepers.min(axis=-1) >= _STANDS)
    log_p = np.where(stand, log_survival(2.0, np.minimum(nepers, HIGHEST).sum(axis=-1)), 0.0)
    # Of positions half a line apart every third is a look of its own (a Hann line is 1.5 wide).
    log_p = log_p + np.log(max(1.0, count / 3.0)) - np.log(weights)[:, None]
    band, place = np.unravel_index(int(np.argmin(log_p)), log_p.shape)
    return _Swell(
        order=float(orders[place]),
        band=int(band),
        log_p=float(log_p[band, place]),
        balls=balls,
    )


def _cage_lines(
    group: Group, bearings: Sequence[MountedBearing], uncertainty: float
) -> tuple[LineEvidence | None, LineEvidence | None, float]:
    """Lines of the cage and of its balls, and their share of their band's lines."""
    swell = _swell(group, bearings, uncertainty)
    if swell is None:
        return None, None, 0.0
    spectra = group.looks[swell.look]
    cage = read_line(spectra, swell.band, swell.order, 0.0, "1 x FTF")
    if cage is None:
        return None, None, 0.0
    cage = replace(cage, log10_p=swell.log_p / float(np.log(10.0)))
    balls = None
    if swell.balls:
        balls = read_line(spectra, swell.band, swell.balls * swell.order, 0.0, "1 x BPFO")
    # A swell has no harmonics: the two lines, and what a load that turns makes of them.
    places = [swell.order, swell.order * max(b.geometry.balls for b in bearings)]
    sides = np.arange(-_SHAFT_SIDES, _SHAFT_SIDES + 1.0)
    lines = [(abs(place + side), _CAGE_WIDTH * place) for place in places for side in sides]
    return cage, balls, dominance(spectra, spectra.without(lines), swell.band).share


def _beside(cage: LineEvidence, causes: Sequence[Competitor], step: float) -> tuple[str, ...]:
    """Causes that turn at the cage's rate, or beat with the shaft at it."""
    return tuple(
        cause.cause
        for cause in causes
        if min(abs(cause.order - cage.order), abs(abs(1.0 - cause.order) - cage.order))
        < MASK_LINES * step + 2.0 * cause.standard_uncertainty
    )


def _depth(spectra: EnvelopeSpectra, band: int, order: float) -> float:
    place = round(order / spectra.step)
    reach = max(1, round(0.02 * place))
    if place + reach >= spectra.level.shape[1]:
        return 0.0
    peak = place - reach + int(np.argmax(spectra.level[band, place - reach : place + reach + 1]))
    return spectra.depth(band, max(1, peak - 1), peak + 2)


def _quiet_db(recording: Recording, band: Band) -> float:
    """Level of the band in the quietest twentieth of the recording."""
    size = 2 ** round(np.log2(_FRAME_S * recording.rate_hz))
    row = recording.samples[0]
    if len(row) < size:
        return 0.0
    starts = np.linspace(0, len(row) - size, _QUIET_FRAMES).astype(int)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    spectra = np.abs(fft.rfft(np.stack([row[s : s + size] for s in starts]) * window, axis=1)) ** 2
    step = recording.rate_hz / size
    inside = spectra[:, round(band.low_hz / step) : round(band.high_hz / step)]
    # Parseval for one side of the spectrum; the complex envelope's power is twice the band's
    # mean square, hence 2 x 2 / (size x energy of the window).
    power = 4.0 * inside.sum(axis=1) / (size * np.sum(window**2))
    return 10.0 * float(np.log10(np.percentile(power, _QUIET_PERCENTILE) + 1e-30))
