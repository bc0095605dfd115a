"""Invented analyses for the tests of the reports and of the command line.

Nothing here was measured: the speeds, levels, findings and the sound are made up, so that every
part of a report has something to show.  No test may read a physical truth out of them.
"""

from dataclasses import dataclass, replace

import numpy as np

from spinlab.finding import Cause, Finding, Verdict
from spinlab.machine import Machine, load_machine
from spinlab.quality.value import Quality
from spinlab.recording import Gap, Recording, Remark, Source
from spinlab.speed.track import Estimate, LockedLine, Rival, SpeedTrack, SteadyLine
from spinlab.stages import Retry, Stage, StageTable

RATE_HZ = 16000
STEP_S = 0.1
# Invented corner points of an invented spin: s, rpm.
CORNERS = ((0, 0), (4, 0), (6, 60), (12, 60), (18, 400), (30, 400), (38, 800), (50, 800))
CORNERS += (
    (55, 1000),
    (66, 1000),
    (72, 1200),
    (84, 1200),
    (90, 1331),
    (104, 1331),
    (118, 0),
    (122, 0),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class InventedAnalysis:
    recording: Recording
    quality: Quality
    machine: Machine | None
    track: SpeedTrack
    stages: StageTable
    findings: tuple[Finding, ...]
    verdict: Verdict

    def but(self, **changes):
        return replace(self, **changes)


def invented_speed():
    time_s = np.arange(0, CORNERS[-1][0], STEP_S)
    corners = np.array(CORNERS, dtype=float)
    return time_s, np.interp(time_s, corners[:, 0], corners[:, 1])


def invented_sound():
    """Three tones that follow the invented speed, hum, and noise."""
    rng = np.random.default_rng(7)
    track_time, speed = invented_speed()
    time_s = np.arange(0, track_time[-1], 1 / RATE_HZ)
    rate = np.interp(time_s, track_time, speed) / 60
    turns = np.cumsum(rate) / RATE_HZ
    loud = np.minimum(1, rate / 20)
    tones = sum(
        level * np.sin(2 * np.pi * order * turns)
        for order, level in ((10.4, 0.05), (20.8, 0.02), (31.2, 0.02))
    )
    hum = 0.01 * np.sin(2 * np.pi * 100 * time_s)
    noise = rng.normal(0, 0.01, len(time_s)) * (0.2 + loud)
    return (loud * tones + hum + noise)[np.newaxis].astype(np.float32)


def invented_track():
    time_s, speed = invented_speed()
    wobble = 1.5 * np.sin(2 * np.pi * 0.4 * time_s)
    speed = np.where(speed > 300, speed + wobble, speed)
    speed[290:296] = np.nan
    motion = np.full(len(time_s), "plateau", dtype="U12")
    slope = np.gradient(np.nan_to_num(speed), STEP_S)
    motion[slope > 5] = "ramp"
    motion[slope < -5] = "coasting"
    motion[speed == 0] = "rest"
    motion[np.isnan(speed)] = "unknown"
    return SpeedTrack(
        time_s=time_s,
        speed_rpm=speed,
        standard_uncertainty_rpm=np.where(speed > 0, 0.6, np.nan),
        confidence=np.where(np.isnan(speed), 0.1, 0.93),
        motion=motion,
        carried_by=np.full(len(time_s), "motor orders"),
        rivals=(Rival(ratio=0.5, weight=0.02),),
        motor_ratio=Estimate(value=10.4, standard_uncertainty=0.01),
        lines=(
            LockedLine(order=10.4, level_db=-26.0, source="motor"),
            LockedLine(order=20.8, level_db=-34.0, source="motor"),
            LockedLine(order=31.2, level_db=-34.0, source="motor"),
        ),
        steady_lines=(
            SteadyLine(frequency_hz=100.0, level_db=-40.0, likely_source="mains, 2 x 50 Hz"),
        ),
        mains_hz=Estimate(value=50.0, standard_uncertainty=0.01),
    )


def invented_stages():
    def held(asked, start_s, end_s, speed, after, outcome="reached", **more):
        return Stage(
            expected_rpm=asked,
            outcome=outcome,
            speed_rpm=speed,
            standard_uncertainty_rpm=0.21,
            deviation_rpm=speed - asked,
            deviation_percent=100 * (speed / asked - 1),
            start_s=start_s,
            end_s=end_s,
            dwell_s=end_s - start_s,
            reached_after_s=after,
            allowed_s=120.0,
            ripple_percent=0.11,
            ripple_peak_to_peak_percent=0.31,
            ripple_rate_hz=0.4,
            overshoot_percent=0.6,
            rise_rpm_per_s=48.0,
            **more,
        )

    return StageTable(
        stages=(
            held(400, 18.0, 30.0, 400.2, 14.0),
            held(800, 38.0, 50.0, 800.4, 34.0),
            held(1000, 55.0, 66.0, 999.7, 51.0),
            held(1200, 72.0, 84.0, 1200.1, 68.0),
            held(
                1400,
                90.0,
                104.0,
                1331.2,
                86.0,
                outcome="off speed",
                reason="Held 1331 rpm, 69 rpm below the asked 1400 and outside the allowed 42 rpm.",
            ),
        ),
        retries=(Retry(time_s=88.0, speed_rpm=1290.0),),
        top_speed_rpm=1331.2,
        top_speed_standard_uncertainty_rpm=0.21,
        coast_down_start_s=104.0,
        coast_down_s=14.0,
        coast_down_rpm_per_s=-95.1,
        total_s=114.0,
    )


def invented_findings():
    return (
        Finding(
            kind="stage",
            subject="top speed",
            state="fault",
            probability=0.995,
            evidence={"speed_rpm": 1331.2, "asked_rpm": 1400.0, "allowed_rpm": 42.0},
            rivals=(Cause(cause="supply voltage low under load", probability=0.25),),
            next_step="Measure the mains voltage while the drum runs at its top speed.",
            reason="The last stage held 1331 rpm for 14 s where 1400 rpm is asked.",
        ),
        Finding(
            kind="belt",
            subject="belt slip",
            state="attention",
            probability=0.71,
            evidence={"slip_percent": 1.9, "slip_standard_uncertainty_percent": 0.4},
            rivals=(
                Cause(cause="the profile's ratio is wrong", probability=0.2),
                Cause(cause="worn pulley", probability=0.09),
            ),
            next_step="Look at the belt: glaze, frayed edges, tension by hand.",
            reason="The drum falls 1.9 % behind the motor during the last ramp.",
        ),
        Finding(
            kind="bearing",
            subject="rear drum bearing",
            state="not measurable",
            reason="The bearing's designation is not known.",
            next_step="Put the designation stamped on the bearing's ring into the profile.",
        ),
        Finding(
            kind="oscillation",
            subject="speed hunting",
            state="clear",
            probability=0.97,
            evidence={"ripple_percent": 0.11, "ripple_rate_hz": 0.4},
            reason="The speed wanders by 0.11 % RMS on every plateau.",
        ),
    )


def make_invented():
    """An invented spin that stays 69 rpm below its top plateau."""
    return InventedAnalysis(
        recording=Recording(
            kind="sound",
            samples=invented_sound(),
            rate_hz=float(RATE_HZ),
            channel_names=("mono",),
            source=Source(
                file="invented-spin.flac", sha256="0" * 64, container="FLAC", codec="FLAC", bits=16
            ),
        ),
        quality=Quality(
            kind="sound",
            duration_s=122.0,
            rate_hz=float(RATE_HZ),
            rate_standard_uncertainty_hz=0.5,
            usable_band_hz=(40.0, 7200.0),
            noise_floor_dbfs=-71.0,
            clipped_share=0.0004,
            dropouts=(Gap(start_s=61.0, end_s=61.2, reason="no samples"),),
            speech_share=0.06,
            remarks=(
                Remark(
                    what="Someone speaks for 6 % of the time.",
                    consequence="Those stretches carry less weight.",
                ),
            ),
        ),
        machine=load_machine("belt-brushed-1400"),
        track=invented_track(),
        stages=invented_stages(),
        findings=invented_findings(),
        verdict=Verdict(
            state="fault",
            sentence="The drum holds 1331 rpm where 1400 is asked; the other stages are reached.",
        ),
    )


def make_nothing_known():
    """An invented log in which no speed could be told, with no profile given."""
    n = 220
    nothing = np.full(n, np.nan)
    rng = np.random.default_rng(3)
    return InventedAnalysis(
        recording=Recording(
            kind="acceleration",
            samples=rng.normal(0, 0.01, (3, 2200)).astype(np.float32),
            rate_hz=100.0,
            channel_names=("x", "y", "z"),
            source=Source(file="invented-log.csv", sha256="f" * 64),
        ),
        quality=Quality(
            kind="acceleration",
            duration_s=22.0,
            rate_hz=100.0,
            rate_standard_uncertainty_hz=0.1,
            usable_band_hz=None,
        ),
        machine=None,
        track=SpeedTrack(
            time_s=np.arange(n) * 0.1,
            speed_rpm=nothing,
            standard_uncertainty_rpm=nothing,
            confidence=np.zeros(n),
            motion=np.full(n, "unknown"),
            carried_by=np.full(n, ""),
            reason="Nothing in the log moves with a turning drum.",
        ),
        stages=StageTable(),
        findings=(),
        verdict=Verdict(
            state="not measurable", sentence="No turning drum can be found in this log."
        ),
    )
