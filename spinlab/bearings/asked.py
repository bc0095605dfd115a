"""Where no speed is known: the course that a damage's blows tell at the speeds asked for.

A machine may be too quiet for its speed to be followed while a damaged bearing in it is not.  If
blows are heard at the rates that damage of a listed bearing has at the plateaus of the programme,
one after the other and at two of them at least, they give a course that can be followed between the
plateaus as well.  Where on it the drum's own rate lies is then asked of the drum itself, whose
turns beat along the right course though nobody could have found it by them (`speed.turns`).

The course says nothing of plateaus kept or missed: it was put where they were asked for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.between import followed
from spinlab.bearings.blows import Blows, blows_of
from spinlab.bearings.detection import LEAST_BAND_RATIO
from spinlab.bearings.geometry import SLIP_ABOVE, SLIP_BELOW, Fault, MountedBearing
from spinlab.bearings.group import DRUM_GROUP_BELOW, carrier_range, whiten
from spinlab.bearings.patterns import harmonics_pattern, sidebands_pattern
from spinlab.bearings.plateaus import Lines, Placed, placed
from spinlab.orders import Span
from spinlab.recording import Recording
from spinlab.speed.steady_tones import MAINS_HZ
from spinlab.speed.track import IndicatedCourse
from spinlab.speed.tracker import SLOWEST_TOP_SHARE
from spinlab.speed.turns import turns_along

Array = NDArray[np.float64]

# Damage that blows at a rate of its own; a cage turns too slowly for frames of some seconds.
LOOKED_FOR: tuple[Fault, ...] = ("outer race", "inner race", "ball")
HARMONICS = 4
# How far a drum lies from the speeds asked for, all by the same share, as a standard uncertainty;
# common practice, no published source.
OFF_SIGMA = 0.01
# Balls slip by any share of what practice allows: mean and standard uncertainty of ln.
SLIP = 0.5 * (SLIP_ABOVE - SLIP_BELOW)
SLIP_SIGMA = 0.5 * (SLIP_ABOVE + SLIP_BELOW) / np.sqrt(3.0)
# Harmonics and neighbouring frames are not independent: nats by which one way through the plateaus
# must exceed another to be e times as likely.
TEMPER = 4.0
# Left to machines that run at other speeds in the same proportions, and from how many standard
# uncertainties on a scale is another.
OTHER_SPEEDS = 0.05
APART_SIGMAS = 4.0
# Fastest top speed of a drum.
FASTEST_HZ = 30.0
# A course of frames on a grid is no better known than this share.
LEAST_SIGMA = 0.0015
# A course less likely than this is none.
LEAST_WEIGHT = 0.35
# Independent places that a plateau's blows may be heard at, by which the course was chosen.
PLACES = 30
# Longer recordings are not looked at, for the sake of memory.
LONGEST_S = 300.0


def course_at_asked_speeds(
    recording: Recording,
    bearings: Sequence[MountedBearing],
    asked_rpm: Sequence[float],
    *,
    usable_band_hz: tuple[float, float] | None = None,
    mains_hz: float | None = None,
) -> IndicatedCourse | None:
    """The course along which blows of a listed bearing's damage are heard at the plateaus.

    Args:
        recording: sound.
        bearings: the bearings in their places; those on the drum's shaft are looked for.
        asked_rpm: the plateaus that the programme asks for.
        usable_band_hz: what the recording really holds; all of it if None.
        mains_hz: the mains frequency; both are set aside if None.

    Returns:
        The course, as sure as the drum's own turns make it; None where no such blows are heard.
    """
    asked_hz = np.unique(np.asarray(asked_rpm, float)) / 60.0
    families = _families(bearings)
    if len(asked_hz) < 2 or not families or recording.duration_s > LONGEST_S:
        return None
    fastest_hz = max(lines.order for lines in families) * float(asked_hz[-1])
    carrier_hz = carrier_range(recording, fastest_hz, usable_band_hz)
    if carrier_hz[1] < LEAST_BAND_RATIO * carrier_hz[0]:
        return None
    whole = Span(recording.start_s, recording.start_s + recording.duration_s)
    stretches = whiten(recording, (whole,))
    if not stretches:
        return None
    highest = max(float(lines.orders.max()) for lines in families)
    blows = blows_of(
        stretches[0],
        carrier_hz,
        highest_hz=1.1 * highest * float(asked_hz[-1]),
        mains_hz=MAINS_HZ if mains_hz is None else (mains_hz,),
    )
    found = placed(blows, families, asked_hz)
    return None if found is None else _course(recording, blows, found, asked_hz)


def _families(bearings: Sequence[MountedBearing]) -> list[Lines]:
    """The lines of every damage looked for; bearings of one size are looked for once."""
    found: dict[tuple[Fault, float], list[Lines]] = {}
    for bearing in bearings:
        if bearing.shaft_order.value >= DRUM_GROUP_BELOW:
            continue
        for fault in LOOKED_FOR:
            order = bearing.order(fault)
            patterns = [harmonics_pattern(HARMONICS)]
            if fault != "outer race":
                patterns.append(sidebands_pattern(bearing.sideband_order(fault), 1))
            found[fault, round(order, 2)] = [Lines(order=order, pattern=p) for p in patterns]
    return [lines for group in found.values() for lines in group]


def _course(
    recording: Recording, blows: Blows, found: Placed, asked_hz: Array
) -> IndicatedCourse | None:
    """The course of placed blows, on the scale that fits the drum's turns and the speeds asked."""
    on = found.way.plateau >= 0
    late = found.log_late[on]
    time_s, log_hz = followed(
        blows,
        found.band,
        found.lines.orders,
        blows.time_s[on],
        np.log(asked_hz[found.way.plateau[on]]) + late,
    )
    if len(time_s) < 2:
        return None
    factor, sigma, weight = _scale(recording, time_s, log_hz, float(np.median(late)), found)
    if weight < LEAST_WEIGHT:
        return None
    heard = np.unique(found.way.plateau[on])
    return IndicatedCourse(
        time_s=time_s,
        speed_rpm=60.0 * np.exp(log_hz + factor),
        scale_sigma=float(np.hypot(sigma, LEAST_SIGMA)),
        weight=weight,
        asked_rpm=tuple(60.0 * float(rate) for rate in asked_hz[heard]),
        courses=float(PLACES ** len(heard)),
    )


def _scale(
    recording: Recording, time_s: Array, log_hz: Array, log_late: float, found: Placed
) -> tuple[float, float, float]:
    """The scale of a course of blows: ln(drum's rate / rate followed), its sigma, its probability.

    Blows are as late as the balls slip and the drum is slow; how much of it is slip the drum's
    turns tell within what both are likely to be.  Against the speeds asked for stand the blows'
    other ways through the plateaus, and any scale whatever.

    Args:
        recording: the recording.
        time_s, log_hz: shape (frames,), the rate that the drum would have if no ball slipped.
        log_late: median of ln(that rate / rate asked for).
        found: the blows on the plateaus.
    """
    sigma = float((SLIP_SIGMA**-2 + OFF_SIGMA**-2) ** -0.5)
    slipped = SLIP + (sigma / OFF_SIGMA) ** 2 * (log_late - SLIP)
    top_range_hz = (FASTEST_HZ / SLOWEST_TOP_SHARE, FASTEST_HZ)
    logs, nats = turns_along(recording, time_s, log_hz, top_range_hz=top_range_hz)
    off = (logs + slipped) / sigma
    prior = np.exp(-0.5 * off**2)
    if not prior.any():
        return -slipped, sigma, 0.0
    likely = np.exp(nats - nats.max())
    share = prior / prior.sum() * likely
    factor = float(np.average(logs, weights=share))
    spread = float(np.sqrt(np.average((logs - factor) ** 2, weights=share)))
    odds = sum(np.exp((rival - found.most_nats) / TEMPER) for rival in found.rivals)
    here = (1.0 - OTHER_SPEEDS) / (1.0 + odds)
    elsewhere = float(np.mean(likely[np.abs(off) > APART_SIGMAS]))
    weight = here * share.sum() / (here * share.sum() + (1.0 - here) * elsewhere)
    return factor, spread, float(weight)
