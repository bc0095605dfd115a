"""What a recording can be used for, judged from its quality alone, before any analysis.

The limits are those at which the later steps refuse or lose strength; they are imported from there
or named here.
"""

from __future__ import annotations

from spinlab.findings.bearing import LEAST_TOP_HZ
from spinlab.findings.oscillation import GAIN_SWING_DB
from spinlab.fitness.value import Fit, Fitness
from spinlab.machine.value import Machine
from spinlab.phrase import join, say
from spinlab.quality.remarks import (
    CLIPPED_SHARE,
    NARROW_HZ,
    SHORT_S,
    SPEECH_SHARE,
    THIN_BASS_HZ,
    TOP_SPEED_HZ,
)
from spinlab.quality.value import Quality
from spinlab.vibration.resonance import RANGE_HZ

# A band that ends here carries no drum order, no motor tone and little of the noise's swelling.
LEAST_SOUND_TOP_HZ = 1500.0
# Loss of more than this share of the time leaves single plateaus out.
LOST_SHARE = 0.05
# A log that does not even carry the slowest plateau in common use tells no stage.
LEAST_LOG_TOP_RPM = 400.0
# Samples a second below which the run through the tub's resonance folds onto itself.
LEAST_LOG_RATE_HZ = 4.0 * RANGE_HZ[1]

SPEED = say("drum speed and stages")
BEARINGS = say("bearings")
DRIVE = say("belt and motor")
SHAKING = say("imbalance and suspension")


def fitness(quality: Quality, machine: Machine | None = None) -> tuple[Fit, ...]:
    """Four purposes, each with the reason.

    Args:
        quality: from `spinlab.quality.assess`.
        machine: the unit under test: its top speed decides how fast a log must be.
    """
    purposes = (SPEED, BEARINGS, DRIVE, SHAKING)
    if not quality.usable:
        return tuple(Fit(purpose=p, fitness="not fit", reason=quality.reason) for p in purposes)
    if quality.kind == "sound":
        return (_speed_by_ear(quality), _bearings(quality), _drive(quality), _no_shaking())
    return _of_log(quality, machine)


def _fit(purpose: str, limits: list[str], good: str, *, broken: str = "") -> Fit:
    if broken:
        return Fit(purpose=purpose, fitness="not fit", reason=broken)
    state: Fitness = "limited" if limits else "fit"
    return Fit(purpose=purpose, fitness=state, reason=join("; ", limits) if limits else good)


def _speed_by_ear(quality: Quality) -> Fit:
    low, high = quality.usable_band_hz or (0.0, 0.0)
    broken = ""
    if high < LEAST_SOUND_TOP_HZ:
        broken = say("nothing above {high:.0f} Hz was recorded", high=high)
    limits = _common(quality)
    if low > THIN_BASS_HZ:
        limits.append(say("nothing below {low:.0f} Hz: the drum itself is not heard", low=low))
    good = say("{low:.0f} to {high:.0f} Hz recorded", low=low, high=high)
    return _fit(SPEED, limits, good, broken=broken)


def _common(quality: Quality) -> list[str]:
    """What limits any use of a recording."""
    limits: list[str] = []
    lost = _lost_share(quality)
    if quality.duration_s < SHORT_S:
        limits.append(say("only {length:.0f} s long", length=quality.duration_s))
    if lost > LOST_SHARE:
        limits.append(say("{share:.0%} of the time holds nothing", share=lost))
    if quality.noise_suppression == "suspected":
        limits.append(say("the phone seems to thin out steady noise"))
    if (quality.speech_share or 0.0) > SPEECH_SHARE:
        limits.append(say("speech in {share:.0%} of the time", share=quality.speech_share))
    return limits


def _lost_share(quality: Quality) -> float:
    return sum(gap.end_s - gap.start_s for gap in quality.dropouts) / max(quality.duration_s, 1e-9)


def _bearings(quality: Quality) -> Fit:
    high = (quality.usable_band_hz or (0.0, 0.0))[1]
    broken = ""
    if high < LEAST_TOP_HZ:
        broken = say(
            "recorded up to {high:.0f} Hz only; bearings need {least:.0f} Hz",
            high=high,
            least=LEAST_TOP_HZ,
        )
    limits = _common(quality)
    if high < NARROW_HZ:
        limits.append(say("nothing above {high:.0f} Hz, where bearings ring too", high=high))
    if quality.clipped_share > CLIPPED_SHARE:
        limits.append(say("{share:.2%} of the samples are clipped", share=quality.clipped_share))
    return _fit(BEARINGS, limits, say("recorded up to {high:.0f} Hz", high=high), broken=broken)


def _drive(quality: Quality) -> Fit:
    high = (quality.usable_band_hz or (0.0, 0.0))[1]
    limits = _common(quality)
    if high < NARROW_HZ:
        limits.append(say("no motor tones above {high:.0f} Hz", high=high))
    if (quality.gain_swing_db or 0.0) > GAIN_SWING_DB:
        limits.append(
            say("the phone changes its gain by {swing:.0f} dB", swing=quality.gain_swing_db)
        )
    return _fit(DRIVE, limits, say("recorded up to {high:.0f} Hz", high=high))


def _no_shaking() -> Fit:
    reason = say("a sound gives neither mm/s nor grams; an acceleration log does")
    return Fit(purpose=SHAKING, fitness="not fit", reason=reason)


def _of_log(quality: Quality, machine: Machine | None) -> tuple[Fit, ...]:
    high = (quality.usable_band_hz or (0.0, 0.0))[1]
    top_hz = machine.rated_maximum_rpm / 60.0 if machine is not None else TOP_SPEED_HZ
    limits = _log_limits(quality)
    slow = ""
    if high < top_hz:
        slow = say(
            "{rate:.0f} samples a second carry up to {most:.0f} rpm; this drum turns at {top:.0f}"
            if machine is not None
            else "{rate:.0f} samples a second carry up to {most:.0f} rpm; drums turn at up to "
            "{top:.0f}",
            rate=quality.rate_hz,
            most=60.0 * high,
            top=60.0 * top_hz,
        )
    broken = slow if 60.0 * high < LEAST_LOG_TOP_RPM else ""
    folded = ""
    if quality.rate_hz < LEAST_LOG_RATE_HZ:
        folded = say("{rate:.0f} samples a second are too few", rate=quality.rate_hz)
    good = say("{rate:.0f} samples a second", rate=quality.rate_hz)
    too_slow = say("an acceleration log is too slow for that; a sound recording would tell")
    return (
        _fit(SPEED, [slow, *limits] if slow else limits, good, broken=broken),
        Fit(purpose=BEARINGS, fitness="not fit", reason=too_slow),
        Fit(purpose=DRIVE, fitness="not fit", reason=too_slow),
        _fit(SHAKING, limits, good, broken=folded),
    )


def _log_limits(quality: Quality) -> list[str]:
    limits = _common(quality)
    if quality.clipped_share > CLIPPED_SHARE:
        limits.append(
            say(
                "the sensor is at its limit in {share:.2%} of the rows", share=quality.clipped_share
            )
        )
    return limits
