"""Weighing: a path is refined, its scale read, and what it explains compared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.acquire import track_drum
from spinlab.speed.beats import Beats, beats_along
from spinlab.speed.candidates import Candidate, candidates
from spinlab.speed.family import Family, learn
from spinlab.speed.follow import Followed, course_of, follow, standing
from spinlab.speed.listen import Listened
from spinlab.speed.path import Path
from spinlab.speed.phase import REST_RATES_HZ, phase_correction
from spinlab.speed.pieces import still_pieces
from spinlab.speed.ratio import RatioPrior, snapped
from spinlab.speed.refine import Refined, refine, without_lines
from spinlab.speed.runs import LEAST_SPREAD, linked, moves, proven_apart, run_numbers
from spinlab.speed.scale import scan_scales
from spinlab.speed.voices import FELT_ORDERS, Evidence

LEAST_HEARD_FRAMES = 12
# A path that beats alone carry was chosen for them, out of many: nats that this is worth.
SELECTION_NATS = 25.0
LEAST_STRENGTH = 0.2
# A felt first order is broad where it is strong, and the coarse path may lie on its shoulder.
FELT_REACH = 0.03
FELT_FRAMES = 5
FELT_LEAP = 0.1
FELT_STEP = 0.0008
# Frames of the median that tells where a felt course stands.
FLAT_FRAMES = 9
# Path evidence counts lines in overlapping frames over and over; scale evidence hardly does.
PATH_SHARE = 0.02
STANDING_COST = 50.0
# A path that its own lines carry is worth more than one that beats had to bridge: nats per frame.
CARRIED_NATS = 0.15
# Share of a path that lines must carry for the drum to be looked for along those lines only.
LEAST_CARRIED = 0.25
# Frames in which faint orders of the drum are looked for once the course is known.
LOW_FRAMES_S = (4.8, 9.6)
LOW_HIGHEST_HZ = 400.0
LOW_FLOOR_HZ = 16.0
# Share by which creep changes over a recording, and the least uncertainty of any scale.
CREEP_CHANGE = 0.0005
LEAST_SIGMA = 0.0002


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """Everything that was heard, and what is known beforehand."""

    listened: Listened
    evidence: Evidence
    top_range_hz: tuple[float, float]
    prior: RatioPrior | None
    programme_rpm: tuple[float, ...]

    @property
    def belt(self) -> bool:
        """The profile says that a belt drives the drum."""
        return self.prior is not None and not self.prior.on_drum

    @property
    def rigid(self) -> bool:
        """The profile says that the motor sits on the drum."""
        return self.prior is not None and self.prior.on_drum


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """A refined course and the scales that it may have, best first."""

    refined: Refined
    scales: tuple[Candidate, ...]
    path_score: float


def merit(reading: Reading) -> float:
    """How well a reading explains the drum's turns, and how well everything that moves."""
    refined = reading.refined
    run = linked(refined, run_numbers(refined.time_s, refined.log_hz))
    proven = moves(refined, run) or proven_apart(refined, reading.scales[0].measured_standout)
    standing = 0.0 if proven else STANDING_COST
    carried = CARRIED_NATS * float(refined.carried.sum())
    return reading.scales[0].standout + PATH_SHARE * reading.path_score + carried - standing


def read(path: Path, family: Family, heard: Heard) -> Reading | None:
    """Refine a path and weigh the scales it may have; None where too little is heard."""
    known = path.cell >= 0
    if known.sum() < LEAST_HEARD_FRAMES:
        return None
    grid, time_s = heard.listened.maps.grid, heard.listened.maps.time_s[known]
    log_hz = np.log(grid.first_hz) + grid.step * path.cell[known]
    if heard.listened.first_order_felt:
        refined = _felt(time_s, log_hz, heard)
    elif len(family.offsets):
        orders = np.exp(family.offsets * grid.step)
        refined = refine(
            heard.listened.bands,
            heard.listened.start_s,
            time_s,
            log_hz,
            orders,
            steady_hz=heard.listened.maps.steady_hz,
        )
    else:
        refined = without_lines(time_s, log_hz)
    beats, lows = _drum_voices(refined, heard)
    scan = scan_scales(
        refined,
        beats,
        lows,
        range_hz=heard.top_range_hz,
        prior=heard.prior,
        belt=heard.belt,
        first_order_felt=heard.listened.first_order_felt,
        programme_rpm=heard.programme_rpm,
    )
    scales = tuple(_with_drive(c, refined, heard) for c in candidates(scan))
    if not heard.listened.first_order_felt and refined.carried.mean() < LEAST_CARRIED:
        scales = tuple(
            replace(
                c,
                standout=c.standout - SELECTION_NATS,
                measured_standout=c.measured_standout - SELECTION_NATS,
            )
            for c in scales
        )
    return Reading(refined=refined, scales=scales, path_score=path.score)


def _with_drive(scale: Candidate, refined: Refined, heard: Heard) -> Candidate:
    """A scale with what the drive does to it: whole orders without a belt, creep with one."""
    if heard.listened.first_order_felt:
        return scale
    if heard.rigid:
        factor, sigma = snapped(refined, scale.factor, max(scale.sigma, LEAST_SIGMA))
        return replace(scale, factor=factor, sigma=float(np.hypot(sigma, LEAST_SIGMA)))
    return replace(scale, sigma=float(np.hypot(scale.sigma, CREEP_CHANGE)))


def _drum_voices(refined: Refined, heard: Heard) -> tuple[tuple[Beats, ...], tuple[Followed, ...]]:
    """Beats and low tones along a course, in which the drum's own rate is looked for."""
    envelopes = heard.listened.envelopes
    if envelopes is None:
        return (), ()
    course, telling = refined.course, _telling(refined)
    beats = beats_along(
        envelopes, course, lambda window_s: _window_times(refined, telling, window_s / 4)
    )
    lows = tuple(_low_tones(refined, telling, heard, frame_s) for frame_s in LOW_FRAMES_S)
    return beats, lows


def _low_tones(
    refined: Refined, telling: NDArray[np.bool_], heard: Heard, frame_s: float
) -> Followed:
    """The lowest tone band along a course, without what stands still."""
    band = heard.listened.bands[0]
    (low,) = follow(
        band.signal[None],
        band.rate_hz,
        heard.listened.start_s,
        refined.course,
        _window_times(refined, telling, frame_s / 2),
        frame_s=frame_s,
        highest_hz=LOW_HIGHEST_HZ,
        floor_width_hz=LOW_FLOOR_HZ,
    )
    steady = standing(
        low.bin_hz * np.arange(low.ratio.shape[1], dtype=float), heard.listened.maps.steady_hz
    )
    low.ratio[:, steady] = 1.0
    return low


def _window_times(
    refined: Refined, telling: NDArray[np.bool_], hop_s: float
) -> NDArray[np.float64]:
    """Centres of the windows in which the drum is looked for."""
    times = np.arange(refined.time_s[0] + 1, refined.time_s[-1] - 1, hop_s)
    return times[np.interp(times, refined.time_s, telling.astype(float)) > 0.5]


def _telling(refined: Refined) -> NDArray[np.bool_]:
    """Frames in which the drum may be looked for, shape (frames,).

    Where lines carry most of the path, those stretches alone: elsewhere the path may have been
    chosen for the very beats that it is to be proved by.  And where enough of them move, the runs
    that do: what only stands may be a pump, which beats as it likes.
    """
    lines = refined.carried
    if lines.mean() < LEAST_CARRIED:
        return np.ones(len(lines), bool)
    run = linked(refined, run_numbers(refined.time_s, refined.log_hz))
    moving = [n for n in np.unique(run) if np.ptp(refined.log_hz[run == n]) > LEAST_SPREAD]
    both = lines & np.isin(run, moving)
    return lines if both.mean() < LEAST_CARRIED else both


def again(reading: Reading, heard: Heard) -> Reading | None:
    """Track anew on the drum's own grid with the orders just measured."""
    orders = reading.refined.orders / reading.scales[0].factor
    strength = reading.refined.strength
    use = strength > LEAST_STRENGTH
    family = Family(
        offsets=np.round(np.log(orders[use]) / heard.listened.maps.grid.step).astype(np.int64),
        shares=np.clip(strength[use] / 6.0, 0.1, 0.95),
    )
    maps, refined = heard.listened.maps, reading.refined
    frames = np.flatnonzero(np.isin(maps.time_s, refined.time_s[refined.carried]))
    drum = refined.log_hz[refined.carried] + np.log(reading.scales[0].factor)
    cells = np.round((drum - np.log(maps.grid.first_hz)) / maps.grid.step).astype(np.int64)
    path = track_drum(family, heard.evidence, (frames, cells))
    learned = learn(path, heard.listened.maps) if (path.cell >= 0).any() else family
    return read(path, learned if len(learned.offsets) else family, heard)


def _felt(time_s: NDArray[np.float64], log_hz: NDArray[np.float64], heard: Heard) -> Refined:
    """Refine a felt first order by its phase; by its spectrum where the phase is not coherent."""
    from scipy.ndimage import median_filter, uniform_filter1d

    band, start_s = heard.listened.bands[0], heard.listened.start_s
    # a strong line is broad on the grid, and the coarse path wanders over its width
    smooth = median_filter(log_hz, FELT_FRAMES)
    run = run_numbers(time_s, smooth, leap=FELT_LEAP)
    for number in np.unique(run):
        part = run == number
        smooth[part] = uniform_filter1d(smooth[part], FELT_FRAMES, mode="nearest")
    sigma = np.full(len(time_s), np.nan)
    for rest_rate_hz in REST_RATES_HZ:
        course = course_of(time_s, smooth)
        correction, sigma = phase_correction(
            band.signal, band.rate_hz, start_s, course, time_s, rest_rate_hz=rest_rate_hz
        )
        smooth = smooth + np.nan_to_num(correction)
    refined = refine(
        heard.listened.bands,
        start_s,
        time_s,
        smooth,
        FELT_ORDERS,
        steady_hz=heard.listened.maps.steady_hz,
        reach=FELT_REACH,
        step=FELT_STEP,
        fixed_orders=True,
    )
    sound = np.isfinite(sigma)
    log_hz = np.where(sound, smooth, refined.log_hz)
    sigma = np.where(sound, sigma, refined.sigma)
    # where the drum stands, its phase is coherent against a course that stands as well
    flat = flattened(log_hz, run_numbers(time_s, log_hz, leap=FELT_LEAP))
    correction, flat_sigma = phase_correction(
        band.signal,
        band.rate_hz,
        start_s,
        course_of(time_s, flat),
        time_s,
        rest_rate_hz=REST_RATES_HZ[-1],
    )
    better = (flat != log_hz) & (np.nan_to_num(flat_sigma, nan=np.inf) < sigma)
    return replace(
        refined,
        log_hz=np.where(better, flat + correction, log_hz),
        sigma=np.where(better, flat_sigma, sigma),
    )


def flattened(log_hz: NDArray[np.float64], run: NDArray[np.int64]) -> NDArray[np.float64]:
    """A course whose standing pieces are straight lines, fitted robustly, shape (frames,)."""
    from scipy.ndimage import median_filter
    from scipy.stats import theilslopes

    smooth = median_filter(log_hz, FLAT_FRAMES, mode="nearest")
    flat = log_hz.copy()
    for piece in still_pieces(smooth, run):
        slope, offset, _, _ = theilslopes(log_hz[piece], piece)
        flat[piece] = offset + slope * piece
    return flat
