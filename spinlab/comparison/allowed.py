"""What two recordings allow to be compared, and the reasons for what they do not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from spinlab.analysis import Analysis
from spinlab.comparison.value import Limit
from spinlab.phrase import clause, join, say
from spinlab.recording import Gap, Recording

LEVELS = Limit(
    what=say("whether one recording is louder than the other"),
    reason=say(
        "A phone's gain is unknown and its automatic gain may change it, so only measures that no "
        "gain touches are compared: a line over its own noise floor, modulation depths, speeds."
    ),
    remedy=say("Acceleration logs from the same place on the machine carry absolute amplitudes."),
)
NO_SHARED_BAND = Limit(what=say("order spectra"), reason=say("The two share no usable band."))
# Rates whose ratio needs a longer filter than this are taken as they come.
_LARGEST_TERM = 1000


def gaps(analysis: Analysis) -> tuple[Gap, ...]:
    """Stretches of a recording that hold nothing usable."""
    return (*analysis.recording.gaps, *analysis.quality.dropouts)


def why_no_orders(analysis: Analysis, name: str) -> str:
    """Why no line of this recording can be given its order; "" where it can."""
    track = analysis.track
    if not analysis.quality.usable:
        return say("{name} cannot be used: {why}", name=name, why=clause(analysis.quality.reason))
    if track.scale == "relative":
        why = say(
            "in {name} only ratios of speeds are known, so no line can be given its order",
            name=name,
        )
    elif not track.known.any():
        why = say("in {name} no speed could be told", name=name)
    else:
        return ""
    return join(": ", [why, clause(track.reason)]) if track.reason else why


def shared_band_hz(first: Analysis, second: Analysis) -> tuple[float, float] | None:
    """The band that both recordings hold; None where they share none."""
    bands = (first.quality.usable_band_hz, second.quality.usable_band_hz)
    if bands[0] is None or bands[1] is None:
        return None
    low, high = max(bands[0][0], bands[1][0]), min(bands[0][1], bands[1][1])
    return (low, high) if high > low else None


def limits(first: Analysis, second: Analysis, names: tuple[str, str]) -> tuple[Limit, ...]:
    """What these two recordings cannot tell together, whatever their orders say."""
    return tuple(_limits(first, second, names))


def _limits(first: Analysis, second: Analysis, names: tuple[str, str]) -> Iterator[Limit]:
    kinds = (first.recording.kind, second.recording.kind)
    if kinds[0] != kinds[1]:
        yield Limit(
            what=say("lines and amplitudes"),
            reason=say(
                "One is {first}, the other {second}: these tell different things.",
                first=kinds[0],
                second=kinds[1],
            ),
            remedy=say("Record both times with the same sensor, in the same place."),
        )
        return
    if kinds[0] == "sound":
        yield LEVELS
    for analysis, name in zip((first, second), names, strict=True):
        yield from _of_one(analysis, name)
    yield from _ratio(first, second)


def _of_one(analysis: Analysis, name: str) -> Iterator[Limit]:
    quality = analysis.quality
    if quality.noise_suppression == "suspected":
        yield Limit(
            what=say("how deep the noise of {name} really is", name=name),
            reason=say(
                "The phone seems to have thinned out steady noise, which lifts every line over "
                "its floor."
            ),
            remedy=say("Record as a video or a sound memo without enhancement."),
        )
    if quality.clipped_share > 0.01:
        yield Limit(
            what=say("how strong the impacts in {name} really are", name=name),
            reason=say(
                "{share:.0f} % of its samples stand at the end of the range, which flattens "
                "impacts.",
                share=100 * quality.clipped_share,
            ),
            remedy=say("Record from farther away."),
        )


def _ratio(first: Analysis, second: Analysis) -> Iterator[Limit]:
    if ratios_agree(first, second):
        return
    yield Limit(
        what=say("lines that turn with the motor"),
        reason=say(
            "The motor's ratio to the drum differs between the recordings, so its lines stand at "
            "different orders; where they stand in either, nothing is compared."
        ),
    )


def ratios_agree(first: Analysis, second: Analysis) -> bool:
    """Whether the motor's measured ratios agree within three standard uncertainties."""
    a, b = first.track.motor_ratio, second.track.motor_ratio
    if a is None or b is None:
        return True
    apart = abs(a.value - b.value)
    # Below a third of a line's width at the tenth motor order they may as well be the same.
    return apart <= max(
        3.0 * float(np.hypot(a.standard_uncertainty, b.standard_uncertainty)), 0.002 * a.value
    )


def no_shared_speed(turns: float) -> Limit:
    """What is missing where no speed was held long enough in both."""
    return Limit(
        what=say("order spectra"),
        reason=say("No speed was held for {turns:.0f} turns in both recordings.", turns=turns),
        remedy=say("Let both run through the whole service spin test."),
    )


def no_carriers(end_hz: float) -> Limit:
    """What is missing where the shared band ends too low for a bearing's resonances."""
    return Limit(
        what=say("envelope spectra, and with them bearings"),
        reason=say(
            "The band that both share ends at {end:.0f} Hz; bearings ring higher.", end=end_hz
        ),
        remedy=say("Record both as video or sound memo at the highest quality."),
    )


def at_rate(recording: Recording, rate_hz: float) -> Recording:
    """The recording at a lower rate, through a polyphase filter.

    Both sides of a comparison must pass through the same windows, whose lengths are whole
    numbers of samples.
    """
    if recording.rate_hz <= rate_hz * 1.0001:
        return recording
    from scipy.signal import resample_poly

    ratio = Fraction(rate_hz / recording.rate_hz).limit_denominator(_LARGEST_TERM)
    rows = [
        resample_poly(row.astype(np.float32), ratio.numerator, ratio.denominator)
        for row in recording.samples
    ]
    return replace(
        recording,
        samples=np.stack(rows).astype(np.float32),
        rate_hz=recording.rate_hz * ratio.numerator / ratio.denominator,
    )
