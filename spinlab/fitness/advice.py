"""Precise advice for a better take, from what this one showed; the gravest first."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from spinlab.findings.oscillation import GAIN_SWING_DB
from spinlab.fitness.value import Advice
from spinlab.machine.value import Machine
from spinlab.phrase import say
from spinlab.quality.motion import HELD_SHARE
from spinlab.quality.remarks import (
    CLIPPED_SHARE,
    FAINT_DBFS,
    JITTER_SHARE,
    NARROW_HZ,
    SHORT_S,
    SPEECH_SHARE,
    THIN_BASS_HZ,
    TOP_SPEED_HZ,
)
from spinlab.quality.value import Quality
from spinlab.speed.track import SpeedTrack

# A file with quiet before and after the spin has this much between its loud and its quiet parts.
_QUIET_MOMENT_DB = 6.0
# Calls and voice messages end at 4 kHz or below (ITU-T G.712: 3.4 kHz; value from memory).
TELEPHONE_TOP_HZ = 4100.0
# A log as fast as this leaves room above the fastest drum's second order.
GOOD_LOG_RATE_HZ = 100.0
# A drum faster than this, so near to an end of the file, was cut off.
FAST_RPM, _EDGE_S = 200.0, 2.0
# Between its first and last known moment, a speed known for less than this share is patchy.
_KNOWN_SHARE = 0.85


def better_take(
    quality: Quality, track: SpeedTrack | None = None, machine: Machine | None = None
) -> tuple[Advice, ...]:
    """What to do otherwise next time; empty where nothing could be better.

    Args:
        quality: from `spinlab.quality.assess`.
        track: the drum's speed, once it was looked for.
        machine: the unit under test.
    """
    own = _sound(quality) if quality.kind == "sound" else _log(quality, machine)
    return tuple(
        Advice(do=do, because=because)
        for do, because in (*_whole(quality, track), *own, *_after(track, machine))
    )


def _whole(quality: Quality, track: SpeedTrack | None) -> Iterator[tuple[str, str]]:
    if not quality.usable:
        yield say("Record again before anything else"), quality.reason
        return
    if quality.dropouts:
        yield (
            say("Close other apps, put calls on hold and leave the screen on while recording"),
            say("the file has holes: {count} of them", count=len(quality.dropouts)),
        )
    if quality.duration_s < SHORT_S:
        yield (
            say("Start before the drum starts and stop after it stands"),
            say("this file lasts {length:.0f} s", length=quality.duration_s),
        )
    elif track is not None and track.known.any():
        yield from _ends(track)
    elif track is None and _never_quiet(quality):
        yield (
            say("Start before the drum starts and stop after it stands"),
            say("no quiet moment was found in the file"),
        )


def _never_quiet(quality: Quality) -> bool:
    level, floor = quality.level_dbfs, quality.noise_floor_dbfs
    return level is not None and floor is not None and level - floor < _QUIET_MOMENT_DB


def _ends(track: SpeedTrack) -> Iterator[tuple[str, str]]:
    """A drum that turns fast in the file's first or last moments was cut off there."""
    if track.scale == "relative":
        return
    known = np.flatnonzero(track.known)
    first, last = int(known[0]), int(known[-1])
    if track.speed_rpm[first] > FAST_RPM and track.time_s[first] - track.time_s[0] < _EDGE_S:
        yield (
            say("Start recording some seconds before the drum starts"),
            say("the file begins at {rpm:.0f} rpm", rpm=float(track.speed_rpm[first])),
        )
    if track.speed_rpm[last] > FAST_RPM and track.time_s[-1] - track.time_s[last] < _EDGE_S:
        yield (
            say("Keep recording until the drum stands still"),
            say("the file ends at {rpm:.0f} rpm", rpm=float(track.speed_rpm[last])),
        )


def _sound(quality: Quality) -> Iterator[tuple[str, str]]:
    if quality.clipped_share > CLIPPED_SHARE:
        yield (
            say("Put the phone half a metre further away, or lower the recording level"),
            say("{share:.2%} of the samples are clipped", share=quality.clipped_share),
        )
    if quality.level_dbfs is not None and quality.level_dbfs < FAINT_DBFS:
        yield (
            say("Put the phone on a folded cloth on the lid or right beside the machine"),
            say("the sound is faint, {level:.0f} dB of full scale", level=quality.level_dbfs),
        )
    high = (quality.usable_band_hz or (0.0, 0.0))[1]
    if 0.0 < high < NARROW_HZ:
        yield (
            say(
                "Use a sound memo or the camera's video at its highest quality; no call, no "
                "voice message"
            )
            if high < TELEPHONE_TOP_HZ
            else say("Record at 44.1 or 48 kHz, uncompressed or at the highest quality offered"),
            say(
                "nothing above {high:.0f} Hz arrived; bearings ring up to {least:.0f} Hz and more",
                high=high,
                least=NARROW_HZ,
            ),
        )
    if quality.noise_suppression == "suspected" or (quality.gain_swing_db or 0.0) > GAIN_SWING_DB:
        yield (
            say(
                "Turn off noise suppression, voice enhancement and automatic gain, or use the "
                "camera's video, which often has none"
            ),
            _processing(quality),
        )
    low = (quality.usable_band_hz or (0.0, 0.0))[0]
    if low > THIN_BASS_HZ:
        yield (
            say("Let the phone's bottom edge, where its microphone is, face the machine"),
            say("nothing below {low:.0f} Hz arrived", low=low),
        )
    if (quality.speech_share or 0.0) > SPEECH_SHARE:
        yield (
            say("Keep silent; radio, pump and taps off"),
            say("speech in {share:.0%} of the time", share=quality.speech_share),
        )


def _processing(quality: Quality) -> str:
    if quality.noise_suppression == "suspected":
        return say("steady noise looks thinned out")
    return say("the gain swings by {swing:.0f} dB", swing=quality.gain_swing_db)


def _log(quality: Quality, machine: Machine | None) -> Iterator[tuple[str, str]]:
    high = (quality.usable_band_hz or (0.0, 0.0))[1]
    top_hz = machine.rated_maximum_rpm / 60.0 if machine is not None else TOP_SPEED_HZ
    if high < top_hz or quality.rate_hz < GOOD_LOG_RATE_HZ:
        yield (
            say("Set the sensor app to its fastest rate, {least:.0f} samples a second or more",
                least=GOOD_LOG_RATE_HZ),
            say("{rate:.0f} samples a second carry {high:.1f} Hz", rate=quality.rate_hz, high=high),
        )  # fmt: skip
    if quality.clipped_share > CLIPPED_SHARE:
        yield (
            say("Choose a wider sensor range, or tape the phone nearer to the cabinet's edge"),
            say("the sensor is at its limit in {share:.2%} of the rows",
                share=quality.clipped_share),
        )  # fmt: skip
    if quality.held_share is not None and quality.held_share > HELD_SHARE:
        yield (
            say("Set the app's rate to the sensor's own, not above it"),
            say("{share:.0%} of the rows repeat the row before", share=quality.held_share),
        )
    if quality.jitter_s is not None and quality.jitter_s * quality.rate_hz > 4 * JITTER_SHARE:
        yield (
            say("Log to the phone's memory with the screen on and other apps closed"),
            say("the stamps scatter by {jitter:.1f} ms", jitter=1e3 * quality.jitter_s),
        )


def _after(track: SpeedTrack | None, machine: Machine | None) -> Iterator[tuple[str, str]]:
    if track is None or not track.known.any():
        return
    if machine is None:
        yield (
            say("Give a machine profile with --machine"),
            say("without one the expected speeds and the bearings are not known"),
        )
    known = np.flatnonzero(track.known)
    share = len(known) / (known[-1] - known[0] + 1)
    if share < _KNOWN_SHARE and track.scale == "absolute":
        yield (
            say("Put the phone closer to the rear of the machine, on a cloth, and keep still"),
            say("between its first and last moment the speed is known for {share:.0%} of the time",
                share=float(share)),
        )  # fmt: skip
