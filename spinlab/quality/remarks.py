"""Each problem of a recording in a sentence, and in another what it means for the conclusions."""

from __future__ import annotations

from collections.abc import Iterator

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
        f"Stretches with nothing recorded: {len(quality.dropouts)}, {lost:.2f} s in all, the first "
        f"at {_clock(first)}.",
        "No speed is measured inside them, and a plateau that holds one is judged on the rest.",
    )


def _clipping(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.clipped_share > CLIPPED_SHARE:
        yield (
            f"The sound is clipped: {quality.clipped_share:.2%} of its samples stand at the limit.",
            "Speeds hold, but clipping makes harmonics of its own: levels and bearing signs in "
            "the loud parts are not to be trusted.  Record from further away.",
        )


def _scale(levels: Levels) -> Iterator[tuple[str, str]]:
    peak = float(levels.peak.max())
    if peak > BEYOND_FULL_SCALE:
        yield (
            f"The samples reach {peak:.3g} times full scale, so the file states no true scale.",
            "Levels in dB of full scale mean nothing here; speeds are unaffected.",
        )


def _processing(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.gain_swing_db:
        yield (
            f"The phone changes its gain by itself, by about {quality.gain_swing_db:.0f} dB.",
            "Levels at different times cannot be compared; slow modulation is weakened.",
        )
    if quality.noise_suppression == "suspected":
        yield (
            f"Steady noise looks thinned out: {quality.spectral_holes or 0.0:.1%} of the spectrum "
            "is empty, as after noise suppression or at a very low bit rate.",
            "Weak lines and the modulation of noise may be missing: what is not found here may "
            "still be there.  Record with an app that stores unprocessed sound.",
        )
    if (quality.speech_share or 0.0) > SPEECH_SHARE:
        yield (
            f"Somebody seems to speak in {quality.speech_share:.0%} of the recording.",
            "What overlaps with speech counts less; keep quiet while recording.",
        )
    if quality.level_dbfs is not None and quality.level_dbfs < FAINT_DBFS:
        yield (
            f"The sound is faint ({quality.level_dbfs:.0f} dB of full scale).",
            "Weak lines drown in the recording's own floor: record closer to the machine.",
        )


def _sound_band(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.usable_band_hz is None:
        return
    low, high = quality.usable_band_hz
    if high < NARROW_HZ:
        yield (
            f"Nothing is recorded above {high:.0f} Hz.",
            "Bearing ringing and motor tones above that are not measurable from this recording.",
        )
    if low > THIN_BASS_HZ:
        yield (
            f"Nothing is recorded below {low:.0f} Hz.",
            "The drum's lowest orders are not heard: its speed rests on motor tones and on the "
            "modulation of noise.",
        )


def _length(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.duration_s < SHORT_S:
        yield (
            f"The recording lasts {quality.duration_s:.0f} s, less than a spin test takes.",
            "Plateaus outside it are not measurable: start before the test and stop after it.",
        )


def _sensor_range(quality: Quality, levels: Levels) -> Iterator[tuple[str, str]]:
    if quality.clipped_share <= CLIPPED_SHARE:
        return
    peak = float(levels.peak.max())
    ranges = [g for g in RANGES_G if abs(peak / STANDARD_GRAVITY_M_S2 / g - 1) < 0.05]
    named = f", its range of {ranges[0]} g" if ranges else ""
    yield (
        f"The sensor is at its limit of {peak:.0f} m/s2{named} in {quality.clipped_share:.2%} of "
        "the readings.",
        "Vibration levels there are lower bounds, and harmonics may be made by the limit.",
    )


def _stamps(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.held_share is not None and quality.held_share > HELD_SHARE:
        yield (
            f"The log repeats the reading before in {quality.held_share:.0%} of its rows.",
            "The sensor is slower than the log: the usable band is cut to what it delivers.",
        )
    if quality.jitter_s is not None and quality.jitter_s * quality.rate_hz > JITTER_SHARE:
        yield (
            f"The steps between stamps scatter by {1e3 * quality.jitter_s:.1f} ms about "
            f"{1e3 / quality.rate_hz:.2f} ms.",
            "Speeds rest on the rate over the whole log, which is known to "
            f"{quality.rate_standard_uncertainty_hz / quality.rate_hz:.1g} of itself.",
        )


def _log_band(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.usable_band_hz is None:
        return
    high = quality.usable_band_hz[1]
    if high < TOP_SPEED_HZ:
        yield (
            f"The log's rate of {quality.rate_hz:.1f} Hz carries no more than {high:.1f} Hz.",
            f"A drum faster than {60 * high:.0f} rpm is not measurable from it: it would show as a "
            "slower one.",
        )
    folded = [
        f"{tone:.0f} Hz at {alias_of(tone, quality.rate_hz):.1f} Hz"
        for tone in MAINS_TONES_HZ
        if tone > quality.rate_hz / 2
    ]
    if folded:
        yield (
            f"Vibration faster than {quality.rate_hz / 2:.1f} Hz folds down in this log.",
            f"Mains tones would appear elsewhere ({', '.join(folded)}) and are no orders of the "
            "drum.",
        )


def _clock(seconds: float) -> str:
    minutes, rest = divmod(max(0.0, seconds), 60)
    return f"{int(minutes):02d}:{rest:04.1f}"
