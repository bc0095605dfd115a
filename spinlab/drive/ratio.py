"""Motor turns per drum turn over the whole test: creep, slip, and the profile's ratio.

The drum's own orders (and not the track alone, which may have been carried by the motor) and the
motor's orders are located apart, on each plateau and each ramp; their quotient is the ratio.  Belt
creep is the growth of that ratio with load, 0.5-1 % in a healthy belt (value from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.drive.spectra import OrderSpectra, Shift, family_shift
from spinlab.speed.track import Estimate, SpeedTrack

DRUM_ORDERS = tuple(float(k) for k in range(1, 25))
PLATEAU_SLOPE_RPM_PER_S = 6.0
DRUM_EXCESS = 6.0
FLOOR = 3e-4  # relative: what a drifting tracker can put into one window of 32 turns


@dataclass(frozen=True, kw_only=True)
class RatioPoint:
    """Ratio in one plateau or one piece of a ramp."""

    time_s: float
    speed_rpm: float
    slope_rpm_per_s: float
    ratio: Estimate


@dataclass(frozen=True, kw_only=True)
class SlipEvent:
    """A stretch in which the motor ran ahead of the drum."""

    time_s: float
    speed_rpm: float
    slope_rpm_per_s: float
    slip_percent: Estimate


@dataclass(frozen=True, kw_only=True)
class DriveRatio:
    """The ratio over the test.

    Attributes:
        plateaus, ramps: ratio on each plateau and on pieces of the ramps.
        ramp_pieces: how many pieces of ramps there are, the motor heard in them or not.
        ratio: weighted mean over the plateaus.
        creep_percent: growth of the ratio from the slowest to the fastest plateau.
        slips: stretches that lie above the plateaus' line by more than their interval.
        drum_heard_share: share of plateaus in which the drum's own orders were heard as well; the
            others lean on the track.
        reason: why there is no ratio; "" otherwise.
    """

    plateaus: tuple[RatioPoint, ...] = ()
    ramps: tuple[RatioPoint, ...] = ()
    ramp_pieces: int = 0
    ratio: Estimate | None = None
    creep_percent: Estimate | None = None
    slips: tuple[SlipEvent, ...] = ()
    drum_heard_share: float = 0.0
    reason: str = ""


def motor_members(
    *, pole_pairs: int | None, slots: int | None, commutator_bars: int | None
) -> tuple[float, ...]:
    """Orders of the motor's shaft at which it is likely to be heard."""
    members = {1, 2, 3}
    if pole_pairs:
        members |= {2 * pole_pairs, 6 * pole_pairs, 12 * pole_pairs}
    members |= {m for m in (slots, commutator_bars) if m}
    return tuple(float(m) for m in sorted(members))


def drive_ratio(
    spectra: OrderSpectra,
    track: SpeedTrack,
    members: Sequence[float],
    *,
    expected: float,
    span_percent: float = 4.0,
) -> DriveRatio:
    """Measure the ratio on every plateau and ramp.

    Args:
        spectra: order spectra on the drum's angle, up to a few motor orders.
        track: the drum's speed, with its uncertainty.
        members: the motor's orders.
        expected: ratio from the track or from the profile.
        span_percent: how far the ratio may lie from it.
    """
    if len(spectra.time_s) < 3:
        return DriveRatio(reason="the drum's speed is known for too short a time")
    every = np.zeros(len(spectra.time_s), dtype=np.int64)
    whole = family_shift(spectra, members, every, ratio=expected, span_percent=span_percent)
    if not whole.heard.any():
        return DriveRatio(reason="the motor's orders do not stand out of the noise")
    centre = float(whole.ratio[0])
    flat, rising = _groups(spectra)
    on_flat = family_shift(spectra, members, flat, ratio=centre, span_percent=2.0)
    # The track is trusted to a few of its own uncertainties; further off lie only flukes.
    reach = float(np.clip(400.0 * np.median(_relative(track)[track.known]), 0.1, 0.8))
    drum = family_shift(
        spectra,
        DRUM_ORDERS,
        flat,
        ratio=1.0,
        span_percent=reach,
        least_excess=DRUM_EXCESS,
    )
    plateaus, heard = _points(spectra, track, flat, on_flat, drum)
    if not plateaus:
        return DriveRatio(reason="the motor's orders stand out on no plateau")
    on_ramp = family_shift(spectra, members, rising, ratio=centre, span_percent=7.0)
    nothing = Shift(
        ratio=np.full(len(on_ramp.ratio), np.nan),
        standard_uncertainty=np.full(len(on_ramp.ratio), np.nan),
        excess=np.zeros(len(on_ramp.ratio)),
        members=(),
    )
    ramps, _ = _points(spectra, track, rising, on_ramp, nothing)
    mean = _weighted([p.ratio for p in plateaus])
    return DriveRatio(
        plateaus=tuple(plateaus),
        ramps=tuple(ramps),
        ramp_pieces=int(np.sum(rising >= 0)),
        ratio=mean,
        creep_percent=_creep(plateaus),
        slips=_slips(plateaus, ramps),
        drum_heard_share=heard,
    )


def _groups(spectra: OrderSpectra) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Group numbers of plateau windows (one per plateau) and of ramp windows (one each)."""
    steady = np.abs(spectra.slope_rpm_per_s) < PLATEAU_SLOPE_RPM_PER_S
    flat = np.full(len(steady), -1, dtype=np.int64)
    rising = np.full(len(steady), -1, dtype=np.int64)
    number, last = -1, np.nan
    for w in np.flatnonzero(steady):
        if not abs(spectra.speed_rpm[w] - last) < 25.0:
            number += 1
        last = spectra.speed_rpm[w]
        flat[w] = number
    rising[~steady] = np.arange(int((~steady).sum()))
    return flat, rising


def _points(
    spectra: OrderSpectra,
    track: SpeedTrack,
    groups: NDArray[np.int64],
    motor: Shift,
    drum: Shift,
) -> tuple[list[RatioPoint], float]:
    """Ratio per group where the motor is heard; the drum's own shift is taken out where heard."""
    points, heard = [], 0
    for g in np.flatnonzero(motor.heard):
        inside = groups == g
        speed = float(spectra.speed_rpm[inside].mean())
        share = float(motor.standard_uncertainty[g] / motor.ratio[g])
        slope = float(spectra.slope_rpm_per_s[inside].mean())
        ratio = float(motor.ratio[g])
        if drum.heard[g]:
            heard += 1
            ratio /= float(drum.ratio[g])
            own = float(drum.standard_uncertainty[g])
        else:
            time = spectra.time_s[inside]
            own = float(np.mean(np.interp(time, track.time_s, _relative(track))))
        # A ramp's windows see the angle's curvature, which a track on frames knows less well.
        floor = FLOOR * (1.0 + abs(slope) / 20.0)
        u = ratio * float(np.sqrt(share**2 + own**2 + floor**2))
        points.append(
            RatioPoint(
                time_s=float(spectra.time_s[inside].mean()),
                speed_rpm=speed,
                slope_rpm_per_s=slope,
                ratio=Estimate(value=ratio, standard_uncertainty=u),
            )
        )
    return points, heard / max(len(points), 1)


def _relative(track: SpeedTrack) -> NDArray[np.float64]:
    speed = np.maximum(np.nan_to_num(track.speed_rpm), 1.0)
    return np.asarray(np.nan_to_num(track.standard_uncertainty_rpm, nan=1.0) / speed)


def _weighted(values: Sequence[Estimate]) -> Estimate:
    v = np.array([e.value for e in values])
    u = np.array([e.standard_uncertainty for e in values])
    weight = 1.0 / u**2
    mean = float(np.sum(weight * v) / weight.sum())
    scatter = float(v.std() / np.sqrt(len(v)))
    return Estimate(
        value=mean, standard_uncertainty=max(float(1.0 / np.sqrt(weight.sum())), scatter)
    )


def _creep(plateaus: Sequence[RatioPoint]) -> Estimate | None:
    """Growth in percent from the slowest to the fastest plateau, by a weighted line."""
    if len(plateaus) < 2:
        return None
    n = np.array([p.speed_rpm for p in plateaus])
    r = np.array([p.ratio.value for p in plateaus])
    u = np.array([p.ratio.standard_uncertainty for p in plateaus])
    span = n.max() - n.min()
    if span < 100.0:
        return None
    weight = 1.0 / u**2
    centre = np.sum(weight * n) / weight.sum()
    spread = np.sum(weight * (n - centre) ** 2)
    slope = float(np.sum(weight * (n - centre) * r) / spread)
    level = float(np.sum(weight * r) / weight.sum())
    residual = r - level - slope * (n - centre)
    chi = float(np.sqrt(np.sum(weight * residual**2) / max(len(n) - 2, 1)))
    slope_u = max(chi, 1.0) / float(np.sqrt(spread))
    return Estimate(
        value=100.0 * slope * span / level, standard_uncertainty=100.0 * slope_u * span / level
    )


# Pieces of a ramp this close lie beside each other; share by which a pitch must change from one to
# the other.
BESIDE_S = 4.0
OWN_PITCH = 0.015


def _slips(plateaus: Sequence[RatioPoint], ramps: Sequence[RatioPoint]) -> tuple[SlipEvent, ...]:
    """Pieces whose ratio exceeds the plateaus' median by at least 1 % and four uncertainties.

    A piece of a ramp counts only with a second one beside it between which the motor's own pitch
    changes: what stands at one pitch while the drum gains speed is hum, not a motor that slips.
    """
    usual = float(np.median([p.ratio.value for p in plateaus]))
    spread = float(np.median([p.ratio.standard_uncertainty for p in plateaus]))
    found = []
    for point in (*plateaus, *ramps):
        slip = 100.0 * (point.ratio.value / usual - 1.0)
        u = 100.0 * float(np.hypot(point.ratio.standard_uncertainty, spread)) / usual
        if slip > max(1.0, 4.0 * u):
            found.append(
                SlipEvent(
                    time_s=point.time_s,
                    speed_rpm=point.speed_rpm,
                    slope_rpm_per_s=point.slope_rpm_per_s,
                    slip_percent=Estimate(value=slip, standard_uncertainty=u),
                )
            )
    found.sort(key=lambda event: event.time_s)
    return tuple(
        event
        for event in found
        if abs(event.slope_rpm_per_s) < PLATEAU_SLOPE_RPM_PER_S
        or any(_moves_with(event, other) for other in found)
    )


def _moves_with(one: SlipEvent, other: SlipEvent) -> bool:
    """Whether two pieces lie beside each other and the motor turns at another rate in each."""
    rate, beside = (e.speed_rpm * (1.0 + 0.01 * e.slip_percent.value) for e in (one, other))
    apart_s = abs(one.time_s - other.time_s)
    return 0.0 < apart_s <= BESIDE_S and abs(beside / rate - 1.0) > OWN_PITCH
