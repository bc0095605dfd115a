"""The facts for an expert: how the recording was read, what carried the speed, which versions.

Pairs of name and text, in groups, ready for a list.
"""

from __future__ import annotations

import platform
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version

from spinlab.report.words import (
    INTERVAL_NOTE,
    chance,
    clock,
    duration,
    evidence_label,
    evidence_value,
    measured,
    number,
)
from spinlab.result import VERSION, Analysed, plain

Fact = tuple[str, str]
_LIBRARIES = ("numpy", "scipy", "soundfile", "av")
# Told elsewhere in the report.
_QUALITY_ELSEWHERE = {"remarks", "kind", "duration_s", "rate_hz"}
_MOST_LINES = 8


def facts(analysis: Analysed) -> tuple[tuple[str, tuple[Fact, ...]], ...]:
    """Groups of facts: (heading, ((name, text), ...)); empty groups are left out."""
    groups = (
        ("Recording", tuple(_recording(analysis))),
        ("Quality", tuple(_quality(analysis))),
        ("Machine profile", tuple(_machine(analysis))),
        ("Speed", tuple(_speed(analysis))),
        ("Method and versions", tuple(_method())),
    )
    return tuple(group for group in groups if group[1])


def _recording(analysis: Analysed) -> Iterator[Fact]:
    recording, source = analysis.recording, analysis.recording.source
    yield "File", source.file
    yield "SHA-256", source.sha256
    coding = " ".join(part for part in (source.container, source.codec) if part)
    bits = f", {source.bits} bit" if source.bits else ""
    yield "Kind", recording.kind + (f" ({coding}{bits})" if coding else "")
    yield "Length", duration(recording.duration_s)
    yield "Rate", f"{recording.rate_hz:g} Hz, {recording.channels} channel(s)"
    if recording.start_s:
        yield "First sample at", f"{number(recording.start_s, 3)} s of the file's clock"
    if recording.clock is not None:
        stamps = recording.clock
        yield (
            "Stamps",
            (
                f"step {1000 * stamps.median_step_s:.3g} ms, jitter {1000 * stamps.jitter_s:.3g} "
                f"ms, {stamps.duplicates} double, {stamps.backward_steps} backward, "
                f"longest gap {stamps.longest_gap_s:.3g} s"
            ),
        )
    for remark in recording.remarks:
        yield "Remark", f"{remark.what} {remark.consequence}"


def _quality(analysis: Analysed) -> Iterator[Fact]:
    for name, value in (plain(analysis.quality) or {}).items():
        if name in _QUALITY_ELSEWHERE or value is None or value == "":
            continue
        label, unit = evidence_label(name)
        if name == "dropouts":
            text = ", ".join(_gap(gap) for gap in value) or "none"
        else:
            text = f"{evidence_value(value)} {unit}".strip()
        yield label, text


def _gap(gap: object) -> str:
    if isinstance(gap, dict) and {"start_s", "end_s"} <= gap.keys():
        return f"{clock(gap['start_s'])} for {gap['end_s'] - gap['start_s']:.2g} s"
    return evidence_value(gap)


def _machine(analysis: Analysed) -> Iterator[Fact]:
    machine = analysis.machine
    if machine is None:
        return
    yield "Name", machine.name
    if machine.description:
        yield "About", machine.description
    low, high = machine.drum_to_motor_ratio_range
    ratio = f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"
    yield "Drive", f"{machine.drive}, {ratio} motor turns per drum turn"
    yield (
        "Motor",
        ", ".join(
            f"{label} {text}".strip() if name != "kind" else text
            for name, value in plain(machine.motor).items()
            if value is not None
            for label, text in [(name.replace("_", " "), evidence_value(value))]
        ),
    )
    yield (
        "Bearings",
        "; ".join(f"{b.place} {b.designation or 'by geometry'}" for b in machine.bearings)
        or "not known",
    )
    yield "Programme", ", ".join(f"{p.rpm:g}" for p in machine.programme) + " rpm"


def _speed(analysis: Analysed) -> Iterator[Fact]:
    track = analysis.track
    if track.known.any():
        yield "Scale", track.scale
    if track.reason:
        yield "Limit", track.reason
    yield (
        "Programme as a hint",
        (
            "used to choose between readings; it never shifts a measured value"
            if track.programme_used
            else "not used"
        ),
    )
    if track.motor_ratio is not None:
        ratio = measured(track.motor_ratio.value, track.motor_ratio.standard_uncertainty)
        yield "Motor turns per drum turn, measured", ratio
    if track.mains_hz is not None:
        yield (
            "Mains found at",
            (measured(track.mains_hz.value, track.mains_hz.standard_uncertainty) + " Hz"),
        )
    for rival in track.rivals:
        yield (
            "Another reading",
            f"{rival.ratio:.3g} times this speed, weight {chance(rival.weight)}",
        )
    if track.lines:
        strongest = sorted(track.lines, key=lambda line: -line.level_db)[:_MOST_LINES]
        yield (
            "Lines that turn with the drum",
            ", ".join(f"{line.order:.4g} × ({line.source})" for line in strongest),
        )
    for line in track.steady_lines[:_MOST_LINES]:
        yield "Steady tone", f"{line.frequency_hz:.1f} Hz ({line.likely_source})"
    for remark in track.remarks:
        yield "Remark", remark


def _method() -> Iterator[Fact]:
    yield "Uncertainty", INTERVAL_NOTE
    yield "Times", "the file's own clock, as a player shows it"
    yield "Result format", f"spinlab.result, version {VERSION}"
    from spinlab import __version__

    yield "spinlab", __version__
    yield "Python", platform.python_version()
    for library in _LIBRARIES:
        try:
            yield library, version(library)
        except PackageNotFoundError:
            continue
