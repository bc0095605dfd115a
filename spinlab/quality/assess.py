"""`assess`: one recording in, its quality record out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.phrase import say
from spinlab.quality.band import usable_band
from spinlab.quality.frames import measure_frames
from spinlab.quality.gain import gain_changes
from spinlab.quality.levels import Levels, dropouts, measure_levels
from spinlab.quality.motion import measure_motion
from spinlab.quality.remarks import about_log, about_sound
from spinlab.quality.speech import speech_share
from spinlab.quality.value import Quality, Suspicion
from spinlab.reading import MINIMUM_DURATION_S
from spinlab.recording import Recording, Remark

# A phone's quartz is cut to some 20 to 50 ppm and wanders with warmth (vendors' data sheets,
# value from memory): taken as a standard uncertainty.
QUARTZ = 50e-6
# Noise has 0.22 % of its cells so far down, a low-rate codec's up to 0.6 %.
HOLES_SUSPECTED = 0.012
# Below these there is digital silence, or a sensor that stands still altogether.
SILENCE_DBFS = -90.0
STUCK_M_S2 = 1e-5
_MOSTLY = 0.9


def assess(recording: Recording) -> Quality:
    """Judge what a recording can carry.

    Blocks are read in turn: memory stays bounded whatever the length.  Sound is judged on its
    loudest channel, its clipping on every channel.

    Args:
        recording: any recording with at least one sample.

    Returns:
        The record; `usable` is False with a `reason` where nothing can be concluded.  Its remarks
        begin with the reader's own.
    """
    if recording.duration_s < MINIMUM_DURATION_S:
        return _too_short(recording)
    levels = measure_levels(recording)
    if recording.kind == "sound":
        quality = _of_sound(recording, levels)
        found = about_sound(quality, levels)
    else:
        quality = _of_log(recording, levels)
        found = about_log(quality, levels)
    reason = _why_unusable(quality, levels)
    if reason:
        found = (Remark(what=reason, consequence="Nothing can be concluded from it."),)
    return replace(quality, usable=not reason, reason=reason, remarks=(*recording.remarks, *found))


def _too_short(recording: Recording) -> Quality:
    reason = say(
        "The recording lasts {duration:.3f} s: record the whole spin test.",
        duration=recording.duration_s,
    )
    remark = Remark(what=reason, consequence="Nothing can be concluded from it.")
    return Quality(
        kind=recording.kind,
        duration_s=recording.duration_s,
        rate_hz=recording.rate_hz,
        rate_standard_uncertainty_hz=QUARTZ * recording.rate_hz,
        usable_band_hz=None,
        dropouts=recording.gaps,
        gain_evidence="the recording is too short",
        usable=False,
        reason=reason,
        remarks=(*recording.remarks, remark),
    )


def _of_sound(recording: Recording, levels: Levels) -> Quality:
    channel = levels.loudest
    frames = measure_frames(recording, channel)
    gain = gain_changes(frames)
    suspicion: Suspicion = "not measurable"
    if frames.holes is not None:
        suspicion = "suspected" if frames.holes > HOLES_SUSPECTED else "not seen"
    return Quality(
        kind=recording.kind,
        duration_s=recording.duration_s,
        rate_hz=recording.rate_hz,
        rate_standard_uncertainty_hz=QUARTZ * recording.rate_hz,
        usable_band_hz=usable_band(
            frames.spectrum_hz,
            frames.spectrum,
            rate_hz=recording.rate_hz,
            bits=recording.source.bits,
        ),
        level_dbfs=_decibels(float(levels.rms[channel])),
        noise_floor_dbfs=_decibels(levels.floor),
        clipped_share=float(levels.clipped.max()),
        dropouts=dropouts(levels, recording, reason="the sound is silent to the last digit"),
        gain_swing_db=gain.swing_db,
        gain_evidence=gain.evidence,
        noise_suppression=suspicion,
        spectral_holes=frames.holes,
        speech_share=speech_share(recording, channel, frames),
    )


def _of_log(recording: Recording, levels: Levels) -> Quality:
    motion = measure_motion(recording)
    jitter = recording.clock.jitter_s if recording.clock is not None else None
    # Standard error of a straight line through evenly scattered stamps.
    fit = np.sqrt(12 / max(3, recording.length) ** 3) * (jitter or 0.0) * recording.rate_hz**2
    return Quality(
        kind=recording.kind,
        duration_s=recording.duration_s,
        rate_hz=recording.rate_hz,
        rate_standard_uncertainty_hz=float(np.hypot(fit, QUARTZ * recording.rate_hz)),
        usable_band_hz=motion.usable_band_hz,
        level_m_s2=float(levels.rms.max()),
        noise_floor_m_s2=levels.floor,
        clipped_share=float(levels.clipped.max()),
        dropouts=dropouts(levels, recording, reason="the sensor repeats one reading"),
        gain_evidence="acceleration sensors have no automatic gain",
        jitter_s=jitter,
        held_share=motion.held_share,
    )


def _decibels(amplitude: float) -> float | None:
    return 20 * float(np.log10(amplitude)) if amplitude > 0 else None


def _why_unusable(quality: Quality, levels: Levels) -> str:
    """One sentence, or nothing where something can be concluded."""
    if quality.kind == "sound" and (quality.level_dbfs or -np.inf) < SILENCE_DBFS:
        return "The recording is silent: check the microphone's permission and record again."
    if quality.kind == "acceleration" and levels.rms.max() < STUCK_M_S2:
        return "The readings never change: check that the sensor was running and record again."
    lost = sum(gap.end_s - gap.start_s for gap in quality.dropouts)
    if lost > _MOSTLY * quality.duration_s:
        return say(
            "Of {duration:.0f} s, {lost:.0f} s hold nothing: record again.",
            duration=quality.duration_s,
            lost=lost,
        )
    if quality.usable_band_hz is None:
        return "No band of the recording stands clear of its own floor: record closer by."
    return ""
