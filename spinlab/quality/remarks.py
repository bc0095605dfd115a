"""Each problem of a recording in a sentence, and in another what it means for the conclusions."""

from __future__ import annotations

from collections.abc import Iterator

from spinlab.phrase import join, say
from spinlab.quality.aliasing import alias_of
from spinlab.quality.levels import Levels
from spinlab.quality.motion import HELD_SHARE, RANGES_G
from spinlab.quality.value import Quality
from spinlab.recording import Remark
from spinlab.reference import STANDARD_GRAVITY_M_S2

# A spin test with its plateaus takes minutes (common practice, no published source).
SHORT_S = 60.0
CLIPPED_SHARE = 1e-4
SPEECH_SHARE = 0.03
# Decoders overshoot full scale by a few dB; floats far beyond it were written in another unit.
BEYOND_FULL_SCALE = 4.0
FAINT_DBFS = -60.0
# Ringing of bearings and the slot tones of motors lie below this (common practice).
NARROW_HZ = 5000.0
# The first order of 400 rpm is 6.7 Hz; ten of it are heard above this.
THIN_BASS_HZ = 70.0
TOP_SPEED_HZ = 1600 / 60  # the fastest rating in common use
JITTER_SHARE = 0.05
# What a phone on a machine picks up beyond the drum: twice the mains' frequency, 50 and 60 Hz.
MAINS_TONES_HZ = (50.0, 60.0, 100.0, 120.0)


def about_sound(quality: Quality, levels: Levels) -> tuple[Remark, ...]:
    """Remarks on a sound, the gravest first."""
    return tuple(
        Remark(what=what, consequence=consequence)
        for what, consequence in (
            *_interruptions(quality),
            *_clipping(quality),
            *_scale(levels),
            *_processing(quality),
            *_sound_band(quality),
            *_length(quality),
        )
    )


def about_log(quality: Quality, levels: Levels) -> tuple[Remark, ...]:
    """Remarks on an acceleration log, the gravest first."""
    return tuple(
        Remark(what=what, consequence=consequence)
        for what, consequence in (
            *_interruptions(quality),
            *_sensor_range(quality, levels),
            *_stamps(quality),
            *_log_band(quality),
            *_length(quality),
        )
    )


def _interruptions(quality: Quality) -> Iterator[tuple[str, str]]:
    if not quality.dropouts:
        return
    lost = sum(gap.end_s - gap.start_s for gap in quality.dropouts)
    first = quality.dropouts[0].start_s
    yield (
        say(
            "Stretches with nothing recorded: {dropouts}, {lost:.2f} s in all, "
            "the first at {first}.",
            dropouts=len(quality.dropouts),
            lost=lost,
            first=_clock(first),
        ),
        "No speed is measured inside them, and a plateau that holds one is judged on the rest.",
    )


def _clipping(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.clipped_share > CLIPPED_SHARE:
        yield (
            say(
                "The sound is clipped: {clipped_share:.2%} of its samples stand at the limit.",
                clipped_share=quality.clipped_share,
            ),
            "Speeds hold, but clipping makes harmonics of its own: levels and bearing signs in "
            "the loud parts are not to be trusted.  Record from further away.",
        )


def _scale(levels: Levels) -> Iterator[tuple[str, str]]:
    peak = float(levels.peak.max())
    if peak > BEYOND_FULL_SCALE:
        yield (
            say(
                "The samples reach {peak:.3g} times full scale, so the file states no true scale.",
                peak=peak,
            ),
            "Levels in dB of full scale mean nothing here; speeds are unaffected.",
        )


def _processing(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.gain_swing_db:
        yield (
            say(
                "The phone changes its gain by itself, by about {gain_swing:.0f} dB.",
                gain_swing=quality.gain_swing_db,
            ),
            "Levels at different times cannot be compared; slow modulation is weakened.",
        )
    if quality.noise_suppression == "suspected":
        yield (
            say(
                "Steady noise looks thinned out: {spectral_holes:.1%} of the "
                "spectrum is empty, as after noise suppression or at a very low bit "
                "rate.",
                spectral_holes=quality.spectral_holes or 0.0,
            ),
            "Weak lines and the modulation of noise may be missing: what is not found here may "
            "still be there.  Record with an app that stores unprocessed sound.",
        )
    if (quality.speech_share or 0.0) > SPEECH_SHARE:
        yield (
            say(
                "Somebody seems to speak in {speech_share:.0%} of the recording.",
                speech_share=quality.speech_share,
            ),
            "What overlaps with speech counts less; keep quiet while recording.",
        )
    if quality.level_dbfs is not None and quality.level_dbfs < FAINT_DBFS:
        yield (
            say("The sound is faint ({level:.0f} dB of full scale).", level=quality.level_dbfs),
            "Weak lines drown in the recording's own floor: record closer to the machine.",
        )


def _sound_band(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.usable_band_hz is None:
        return
    low, high = quality.usable_band_hz
    if high < NARROW_HZ:
        yield (
            say("Nothing is recorded above {high:.0f} Hz.", high=high),
            "Bearing ringing and motor tones above that are not measurable from this recording.",
        )
    if low > THIN_BASS_HZ:
        yield (
            say("Nothing is recorded below {low:.0f} Hz.", low=low),
            "The drum's lowest orders are not heard: its speed rests on motor tones and on the "
            "modulation of noise.",
        )


def _length(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.duration_s < SHORT_S:
        yield (
            say(
                "The recording lasts {duration:.0f} s, less than a spin test takes.",
                duration=quality.duration_s,
            ),
            "Plateaus outside it are not measurable: start before the test and stop after it.",
        )


def _sensor_range(quality: Quality, levels: Levels) -> Iterator[tuple[str, str]]:
    if quality.clipped_share <= CLIPPED_SHARE:
        return
    peak = float(levels.peak.max())
    ranges = [g for g in RANGES_G if abs(peak / STANDARD_GRAVITY_M_S2 / g - 1) < 0.05]
    named = say(", its range of {ranges} g", ranges=ranges[0]) if ranges else ""
    yield (
        say(
            "The sensor is at its limit of {peak:.0f} m/s2{named} in "
            "{clipped_share:.2%} of the readings.",
            peak=peak,
            named=named,
            clipped_share=quality.clipped_share,
        ),
        "Vibration levels there are lower bounds, and harmonics may be made by the limit.",
    )


def _stamps(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.held_share is not None and quality.held_share > HELD_SHARE:
        yield (
            say(
                "The log repeats the reading before in {held_share:.0%} of its rows.",
                held_share=quality.held_share,
            ),
            "The sensor is slower than the log: the usable band is cut to what it delivers.",
        )
    if quality.jitter_s is not None and quality.jitter_s * quality.rate_hz > JITTER_SHARE:
        yield (
            say(
                "The steps between stamps scatter by {jitter:.1f} ms about {rate:.2f} ms.",
                jitter=1000.0 * quality.jitter_s,
                rate=1000.0 / quality.rate_hz,
            ),
            say(
                "Speeds rest on the rate over the whole log, which is known to {millionths:.0f} "
                "parts in a million.",
                millionths=max(1.0, 1e6 * quality.rate_standard_uncertainty_hz / quality.rate_hz),
            ),
        )


def _log_band(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.usable_band_hz is None:
        return
    high = quality.usable_band_hz[1]
    if high < TOP_SPEED_HZ:
        yield (
            say(
                "The log's rate of {rate:.1f} Hz carries no more than {high:.1f} Hz.",
                rate=quality.rate_hz,
                high=high,
            ),
            say(
                "A drum faster than {high:.0f} rpm is not measurable from it: it "
                "would show as a slower one.",
                high=60 * high,
            ),
        )
    folded = [
        say("{tone:.0f} Hz at {tone2:.1f} Hz", tone=tone, tone2=alias_of(tone, quality.rate_hz))
        for tone in MAINS_TONES_HZ
        if tone > quality.rate_hz / 2
    ]
    if folded:
        yield (
            say(
                "Vibration faster than {rate:.1f} Hz folds down in this log.",
                rate=quality.rate_hz / 2,
            ),
            say(
                "Mains tones would appear elsewhere ({folded}) and are no orders of the drum.",
                folded=join(", ", folded),
            ),
        )


def _clock(seconds: float) -> str:
    minutes, rest = divmod(max(0.0, seconds), 60)
    return f"{int(minutes):02d}:{rest:04.1f}"
