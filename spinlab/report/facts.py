"""The facts for an expert: how the recording was read, what carried the speed, which versions.

Pairs of name and text, in groups, ready for a list.
"""

from __future__ import annotations

import platform
from collections.abc import Iterator, Sequence
from importlib.metadata import PackageNotFoundError, version

from spinlab.findings.judge import ATTENTION_FROM, FAULT_FROM
from spinlab.phrase import listed
from spinlab.report.evidence import evidence_label, evidence_value
from spinlab.report.language import tell, tell_many
from spinlab.report.words import (
    INTERVAL_NOTE,
    chance,
    clock,
    duration,
    in_full,
    measured,
    number,
)
from spinlab.result import VERSION, Analysed, plain
from spinlab.speed.track import SteadyLine

Fact = tuple[str, str]
_LIBRARIES = ("numpy", "scipy", "soundfile", "av")
# Told elsewhere in the report.
_QUALITY_ELSEWHERE = {"remarks", "kind", "duration_s", "rate_hz"}
_MOST_LINES = 8
# A rival whose ratio is so near 1 is the reported reading itself.
_SAME_READING = 0.005


def facts(analysis: Analysed) -> tuple[tuple[str, tuple[Fact, ...]], ...]:
    """Groups of facts: (heading, ((name, text), ...)); empty groups are left out."""
    groups = (
        (tell("Recording"), tuple(_recording(analysis))),
        (tell("Quality"), tuple(_quality(analysis))),
        (tell("Machine profile"), tuple(_machine(analysis))),
        (tell("Speed"), tuple(_speed(analysis))),
        (tell("Method and versions"), tuple(_method())),
    )
    return tuple(group for group in groups if group[1])


def _recording(analysis: Analysed) -> Iterator[Fact]:
    recording, source = analysis.recording, analysis.recording.source
    yield tell("File"), source.file
    yield tell("SHA-256"), source.sha256
    coding = " ".join(part for part in (source.container, source.codec) if part)
    bits = f", {source.bits} bit" if source.bits else ""
    yield tell("Kind"), tell(recording.kind) + (f" ({coding}{bits})" if coding else "")
    yield tell("Length"), duration(recording.duration_s)
    yield (
        tell("Rate"),
        tell_many(
            "{rate:g} Hz, {count} channel",
            "{rate:g} Hz, {count} channels",
            count=recording.channels,
            rate=recording.rate_hz,
        ),
    )
    if recording.start_s:
        yield (
            tell("First sample at"),
            tell("{time:.3f} s of the file's clock", time=recording.start_s),
        )
    if recording.clock is not None:
        stamps = recording.clock
        yield (
            tell("Stamps"),
            tell(
                "step {step:.3g} ms, jitter {jitter:.3g} ms, {double} double, {back} backward, "
                "longest gap {gap:.3g} s",
                step=1000 * stamps.median_step_s,
                jitter=1000 * stamps.jitter_s,
                double=stamps.duplicates,
                back=stamps.backward_steps,
                gap=stamps.longest_gap_s,
            ),
        )
    for remark in recording.remarks:
        yield tell("Remark"), f"{tell(remark.what)} {tell(remark.consequence)}"


def _quality(analysis: Analysed) -> Iterator[Fact]:
    for name, value in (plain(analysis.quality) or {}).items():
        if name in _QUALITY_ELSEWHERE or value is None or value == "":
            continue
        label, unit = evidence_label(name)
        if name == "dropouts":
            text = ", ".join(_gap(gap) for gap in value) or tell("none")
        else:
            text = f"{_quality_value(value)} {unit}".strip()
        yield label, text


def _quality_value(value: object) -> str:
    if isinstance(value, list) and len(value) == 2:
        low, high = map(evidence_value, value)
        return tell("{low} to {high}", low=low, high=high)
    return evidence_value(value)


def _gap(gap: object) -> str:
    if isinstance(gap, dict) and {"start_s", "end_s"} <= gap.keys():
        length_s = gap["end_s"] - gap["start_s"]
        return tell("{time} for {length:.2g} s", time=clock(gap["start_s"]), length=length_s)
    return evidence_value(gap)


def _machine(analysis: Analysed) -> Iterator[Fact]:
    machine = analysis.machine
    if machine is None:
        return
    yield tell("Name"), machine.name
    if machine.description:
        yield tell("About"), machine.description
    low, high = machine.drum_to_motor_ratio_range
    ratio = tell("{low:.4g}" if low == high else "{low:.4g} to {high:.4g}", low=low, high=high)
    yield (
        tell("Drive"),
        tell("{drive}, {ratio} motor turns per drum turn", drive=machine.drive, ratio=ratio),
    )
    yield (
        tell("Motor"),
        ", ".join(
            f"{label} {text}".strip() if name != "kind" else text
            for name, value in plain(machine.motor).items()
            if value is not None
            for label, text in [(tell(name.replace("_", " ")), evidence_value(value))]
        ),
    )
    yield (
        tell("Bearings"),
        "; ".join(
            f"{tell(b.place)} {b.designation or tell('by geometry')}" for b in machine.bearings
        )
        or tell("not known"),
    )
    speeds = ", ".join(f"{plateau.rpm:g}" for plateau in machine.programme)
    yield tell("Programme"), tell("{speeds} rpm", speeds=speeds)


def _speed(analysis: Analysed) -> Iterator[Fact]:
    track = analysis.track
    if track.known.any():
        yield tell("Scale"), tell(track.scale)
    if track.reason:
        yield tell("Limit"), in_full(track.reason)
    yield (
        tell("Programme as a hint"),
        (
            tell("used to choose between readings; it never shifts a measured value")
            if track.programme_used
            else tell("not used")
        ),
    )
    if track.motor_ratio is not None:
        ratio = measured(track.motor_ratio.value, track.motor_ratio.standard_uncertainty)
        yield tell("Motor turns per drum turn, measured"), ratio
    if track.mains_hz is not None:
        yield (
            tell("Mains found at"),
            (measured(track.mains_hz.value, track.mains_hz.standard_uncertainty) + " Hz"),
        )
    for rival in track.rivals:
        if abs(rival.ratio - 1.0) < _SAME_READING:
            continue
        yield (
            tell("Another reading"),
            tell(
                "{ratio:.3g} times this speed, weight {weight}",
                ratio=rival.ratio,
                weight=chance(rival.weight),
            ),
        )
    if track.lines:
        strongest = sorted(track.lines, key=lambda line: -line.level_db)[:_MOST_LINES]
        yield (
            tell("Lines that turn with the drum"),
            ", ".join(
                tell("{order:.4g} × ({source})", order=line.order, source=line.source)
                for line in strongest
            ),
        )
    if track.steady_lines:
        yield tell("Steady tones"), "; ".join(_tones(track.steady_lines[:_MOST_LINES]))
    for remark in track.remarks:
        yield tell("Remark"), in_full(remark)


def _tones(lines: Sequence[SteadyLine]) -> Iterator[str]:
    """Tones of one likely source together."""
    by_source: dict[str, list[str]] = {}
    for line in lines:
        by_source.setdefault(line.likely_source, []).append(number(line.frequency_hz, 1))
    for source, tones in by_source.items():
        yield tell(
            "{frequencies} Hz ({likely_source})", frequencies=listed(tones), likely_source=source
        )


def _method() -> Iterator[Fact]:
    yield tell("Uncertainty"), tell(INTERVAL_NOTE)
    yield (
        tell("Words"),
        tell(
            "attention from {attention:.0%}, fault from {fault:.0%} probability",
            attention=ATTENTION_FROM,
            fault=FAULT_FROM,
        ),
    )
    yield tell("Times"), tell("the file's own clock, as a player shows it")
    yield tell("Result format"), tell("spinlab.result, version {number}", number=VERSION)
    from spinlab import __version__

    yield "spinlab", __version__
    yield "Python", platform.python_version()
    for library in _LIBRARIES:
        try:
            yield library, version(library)
        except PackageNotFoundError:
            continue
