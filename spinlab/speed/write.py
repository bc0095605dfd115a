"""Writing down: from the best reading to a `SpeedTrack` that says how sure it is, and of what."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.drumlock import LOCK_HOP_S, Lock
from spinlab.speed.maps import HOP_S, Maps
from spinlab.speed.motion import classify
from spinlab.speed.refine import Refined
from spinlab.speed.scale import LEAST_MEASURED, LEAST_WEIGHT, Candidate
from spinlab.speed.track import Estimate, LockedLine, Rival, SpeedTrack, SteadyLine

# A drum's rate changes by less than this share between frames, and a run of frames needs this many
# nats of the drum's own evidence to be shown.
LARGEST_LEAP = 0.2
LEAST_RUN_SUPPORT = 5.0
LEAST_STILL_SUPPORT = 25.0
# No drum of this kind changes faster (common practice, no published source).
FASTEST_RPM_PER_S = 250.0
FASTEST_FALL_RPM_PER_S = 120.0
# What never changes speed cannot be told from a pump or a fan.
LEAST_SPREAD = 0.2
LEAST_RUN_FRAMES = 6
# Nats of the drum's own evidence per window that carry a frame, and the frames of their mean.
LEAST_OWN = 1.5
CARRYING_FRAMES = 3
# Width of a level in ln(speed), and the share of levels passed that must be heard.
LEVEL_WIDTH = 0.1
LEAST_COVERED = 0.6
STANDING = (
    "what is heard never changes speed, so nothing proves that it is the drum and not a pump or a "
    "fan; record the run-up as well"
)
SHOWN_RIVAL = 0.01
# A best reading with less of the likelihood than this is none at all.
LEAST_KNOWN = 0.3
# A tone within this of a multiple of the mains frequency is taken for mains.
MAINS_REACH_HZ = 0.6


def write_down(
    refined: Refined,
    scales: tuple[Candidate, ...],
    lock: Lock,
    maps: Maps,
    *,
    felt: bool = False,
) -> SpeedTrack:
    """The track of the best reading, with its rivals and what could not be told.

    `felt` says that the scale is that of a felt first order, which must be heard to move.
    """
    factor, weight = scales[0].factor, scales[0].weight
    heard = np.flatnonzero(np.isin(maps.time_s, refined.time_s))
    correction = np.interp(refined.time_s, lock.time_s, lock.correction)
    lock_sigma = np.interp(refined.time_s, lock.time_s, lock.sigma)
    support = np.interp(refined.time_s, lock.time_s, lock.support)
    from_beats = np.interp(refined.time_s, lock.time_s, lock.from_beats)
    carried_on = carried(refined, support)
    run = run_numbers(refined.time_s, refined.log_hz, carried_on)
    joined = linked(refined, run)
    if not moves(refined, joined) and (felt or not proven_apart(refined, scales[0])):
        return nothing(maps, STANDING)
    beating = support * from_beats if from_beats.any() else support
    keep = carried_on & supported(refined, joined, support, beating, factor)
    known = heard[keep]
    count = len(maps.time_s)
    speed, sigma, confidence = np.full(count, np.nan), np.full(count, np.nan), np.zeros(count)
    speed[known] = 60.0 * factor * np.exp(refined.log_hz + correction)[keep]
    relative = np.hypot(np.hypot(refined.sigma, lock_sigma), scales[0].sigma)
    sigma[known] = speed[known] * relative[keep]
    local = 1 - np.exp(-np.maximum(support + 0.3 * refined.gain, 0) / 3)
    confidence[known] = weight * local[keep]
    evidence = np.full(count, "", dtype="<U16")
    evidence[known] = _carried_by(support, from_beats)[keep]
    reason = _reason(speed, scales)
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=speed,
        standard_uncertainty_rpm=sigma,
        confidence=confidence,
        motion=classify(maps.time_s, speed, sigma),
        carried_by=evidence,
        scale="relative" if reason else "absolute",
        rivals=tuple(
            Rival(ratio=c.factor / factor, weight=c.weight)
            for c in scales
            if c.weight >= SHOWN_RIVAL
        ),
        lines=_lines(refined, factor),
        steady_lines=steady_lines(maps),
        mains_hz=mains(maps.steady_hz),
        programme_used=not reason and scales[0].by_programme,
        shared_uncertainty=float(np.hypot(np.median(lock_sigma[keep]), scales[0].sigma))
        if keep.any()
        else 0.0,
        reason=reason,
    )


def run_numbers(
    time_s: NDArray[np.float64],
    log_hz: NDArray[np.float64],
    carried_on: NDArray[np.bool_] | None = None,
    *,
    leap: float = LARGEST_LEAP,
) -> NDArray[np.int64]:
    """Number of the unbroken run that each frame belongs to.

    A leap, a gap, or the beginning or end of a stretch that nothing carries breaks a run.
    """
    broken = (np.diff(time_s) > 1.5 * HOP_S) | (np.abs(np.diff(log_hz)) > leap)
    if carried_on is not None:
        broken |= np.diff(carried_on.astype(int)) != 0
    return np.concatenate([[0], np.cumsum(broken)])


def carried(refined: Refined, support: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames in which the family's lines, or the drum's own evidence, carry the path.

    Where neither is heard the path is a guess between what it knows, and it must not be shown.
    """
    from scipy.ndimage import uniform_filter1d

    if not (refined.gain > 0).any():
        return np.ones(len(support), bool)
    own = uniform_filter1d(support, CARRYING_FRAMES, mode="nearest") > LEAST_OWN
    either: NDArray[np.bool_] = refined.carried | own
    return either


def moves(refined: Refined, run: NDArray[np.int64]) -> bool:
    """Whether any unbroken run changes speed: what does not may be a pump or a fan.

    A path that leaps from one standing tone to another passes over the speeds between without
    evidence; a drum is heard on the way.
    """
    heard = refined.carried if (refined.gain > 0).any() else np.ones(len(run), bool)
    for number in np.unique(run):
        inside = refined.log_hz[(run == number) & heard]
        if len(inside) < LEAST_RUN_FRAMES or np.ptp(inside) < LEAST_SPREAD:
            continue
        steps = np.floor((inside - inside.min()) / LEVEL_WIDTH).astype(int)
        if len(np.unique(steps)) >= LEAST_COVERED * (steps.max() + 1):
            return True
    return False


# Runs this close (s) go on from one another if the speed does; so do runs farther apart in which
# two lines or more are heard, for two lines tell an order from another.
SHORT_GAP_S = 0.95
LONG_GAP_S = 8.0
LINES_TO_TELL = 2
RUN_SLACK = 0.04
LINKING_RATE = 0.25


def linked(refined: Refined, run: NDArray[np.int64]) -> NDArray[np.int64]:
    """Runs renumbered so that those which go on from one another share a number."""
    parts = [np.flatnonzero(run == n) for n in np.unique(run)]
    parts = [p for p in parts if refined.carried[p].all()]
    out = run.copy()
    for before, after in itertools.pairwise(parts):
        gap_s = float(refined.time_s[after[0]] - refined.time_s[before[-1]])
        change = abs(float(refined.log_hz[after[0]] - refined.log_hz[before[-1]]))
        told = min(np.median(refined.heard[before]), np.median(refined.heard[after]))
        near = gap_s <= SHORT_GAP_S or (gap_s <= LONG_GAP_S and told >= LINES_TO_TELL)
        if near and change <= RUN_SLACK + LINKING_RATE * gap_s:
            out[after] = out[before[0]]
    return out


# Nats of the drum's own turns that prove a path whose ramps are not heard.
PROVEN_NATS = 20.0


def proven_apart(refined: Refined, scale: Candidate) -> bool:
    """Whether one scale fits the drum's turns at levels apart: tones that stand share none."""
    levels = refined.log_hz[refined.carried]
    apart = len(levels) > LEAST_RUN_FRAMES and float(np.ptp(levels)) > LEAST_SPREAD
    return apart and scale.measured_standout > PROVEN_NATS


def supported(
    refined: Refined,
    run: NDArray[np.int64],
    support: NDArray[np.float64],
    beating: NDArray[np.float64],
    factor: float,
) -> NDArray[np.bool_]:
    """Frames in unbroken runs that the drum's own evidence supports.

    A path may leave the drum for a foreign line; it can do so only by a break.  A run between
    breaks is shown if beats or drum orders support it, more so if it never moves, and if the drum
    could have got there from the better supported run beside it.
    """
    weight = {}
    for number in np.unique(run):
        inside = run == number
        still = np.ptp(refined.log_hz[inside]) < LEAST_SPREAD / 4
        # tones that stand at whole multiples are hum, or a plateau's third order; beats are neither
        own = beating if still else support
        total = float(np.maximum(own[inside], 0).sum()) * HOP_S / LOCK_HOP_S
        if total > (LEAST_STILL_SUPPORT if still else LEAST_RUN_SUPPORT):
            weight[int(number)] = total
    speed = 60.0 * factor * np.exp(refined.log_hz)
    for number in sorted(weight, key=lambda n: weight[n]):
        for other in (n for n in list(weight) if weight[n] > weight[number]):
            if _unreachable(refined.time_s, speed, run, number, other):
                del weight[number]
                break
    return np.isin(run, list(weight))


def _unreachable(
    time_s: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    run: NDArray[np.int64],
    one: int,
    other: int,
) -> bool:
    """Whether the drum could not have changed between two runs in the time between them."""
    first, last = (
        np.flatnonzero(run == min(one, other))[-1],
        np.flatnonzero(run == max(one, other))[0],
    )
    pause = float(time_s[last] - time_s[first])
    change = float(speed_rpm[last] - speed_rpm[first])
    return not -FASTEST_FALL_RPM_PER_S * pause <= change <= FASTEST_RPM_PER_S * pause


def _reason(speed: NDArray[np.float64], scales: tuple[Candidate, ...]) -> str:
    """Why the scale is not absolute; empty if it is."""
    known = speed[np.isfinite(speed)]
    if not len(known):
        return "no stretch of this recording is supported by evidence of the drum's own turns"
    if scales[0].measured_standout < LEAST_MEASURED or scales[0].weight < LEAST_KNOWN:
        return (
            "the motor's changes of speed are heard but the drum's own turns are not; a profile "
            "with the drum-to-motor ratio, or an accelerometer log, would tell"
        )
    if scales[0].weight < LEAST_WEIGHT:
        other = scales[1].factor / scales[0].factor
        return (
            f"two readings remain: this one and {other:.2f} times it; a profile with the "
            "drum-to-motor ratio, or an accelerometer log, would tell"
        )
    return ""


def _carried_by(support: NDArray[np.float64], from_beats: NDArray[np.float64]) -> NDArray[np.str_]:
    """What carried each frame: the drum's beats, its orders, or the motor alone."""
    own = np.where(from_beats > 0.5, "modulation", "drum orders")
    return np.where(support > 1.0, own, "motor orders")


def _lines(refined: Refined, factor: float) -> tuple[LockedLine, ...]:
    """The lines that move with the drum, strongest first."""
    out = []
    for k in np.argsort(-refined.strength):
        if refined.strength[k] <= 0.2:
            continue
        order = float(refined.orders[k] / factor)
        whole = abs(order - round(order)) < 0.006 * order and order < 20.5
        out.append(
            LockedLine(
                order=order,
                # strength is in nats of evidence; the ratio to noise that gives it, in dB
                level_db=float(10 * np.log10(max(refined.strength[k], 0.1) + 3.0)),
                source="drum" if whole else "other",
            )
        )
    return tuple(out)


def steady_lines(maps: Maps) -> tuple[SteadyLine, ...]:
    """Tones that stand still, with their likely source."""
    out: list[SteadyLine] = []
    for frequency in maps.steady_hz:
        if out and frequency - out[-1].frequency_hz < 1.6:
            continue
        out.append(
            SteadyLine(
                frequency_hz=float(frequency),
                level_db=float("nan"),
                likely_source=_source(frequency),
            )
        )
    return tuple(out)


def _source(frequency_hz: float) -> str:
    for mains in (50.0, 60.0):
        multiple = round(frequency_hz / mains)
        if multiple >= 1 and abs(frequency_hz - multiple * mains) < MAINS_REACH_HZ:
            return f"mains ({mains:.0f} Hz) x {multiple}"
    return "a pump, a fan or a resonance that does not follow the drum"


# Multiples of the mains that must stand for it to be told, and the grid's usual drift.
LEAST_MAINS_LINES = 2
MOST_DRIFT_HZ = 0.3
LEAST_MAINS_SIGMA_HZ = 0.05


def mains(steady_hz: NDArray[np.float64]) -> Estimate | None:
    """The mains frequency, where tones stand at two or more of its multiples."""
    best: Estimate | None = None
    most = LEAST_MAINS_LINES - 1
    for nominal in (50.0, 60.0):
        multiple = np.maximum(np.round(steady_hz / nominal), 1.0)
        rate = steady_hz / multiple
        near = np.abs(rate - nominal) < MOST_DRIFT_HZ
        count = len(np.unique(multiple[near]))
        if count > most:
            most = count
            value = float(np.average(rate[near], weights=multiple[near]))
            spread = float(np.std(rate[near])) / np.sqrt(count)
            best = Estimate(value=value, standard_uncertainty=max(spread, LEAST_MAINS_SIGMA_HZ))
    return best


def nothing(maps: Maps, reason: str) -> SpeedTrack:
    """A track without any speed, and why."""
    count = len(maps.time_s)
    unknown = np.full(count, np.nan)
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=unknown,
        standard_uncertainty_rpm=unknown.copy(),
        confidence=np.zeros(count),
        motion=np.full(count, "unknown"),
        carried_by=np.full(count, "", dtype="<U16"),
        scale="relative",
        steady_lines=steady_lines(maps),
        mains_hz=mains(maps.steady_hz),
        reason=reason,
    )
