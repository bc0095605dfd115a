"""The words of every report: states, outcomes, numbers with their uncertainty, cautions.

Text and page both take their wording from here, so that they never differ.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from spinlab.finding import Finding, State
from spinlab.result import Analysed
from spinlab.stages import Stage, StageTable

# A stated interval is two standard uncertainties wide to each side: coverage factor 2, about
# 95 % (GUM, JCGM 100:2008, 6.2 and 6.3).
COVERAGE_FACTOR = 2.0
INTERVAL_NOTE = "± is twice the standard uncertainty, about 95 %."
NO_NUMBER = "–"

STATE_WORDS: dict[State, str] = {
    "clear": "Fine",
    "attention": "Attention",
    "fault": "Fault found",
    "not measurable": "Not measurable",
}
# What stands worst first in a list of findings.
STATE_ORDER: tuple[State, ...] = ("fault", "attention", "not measurable", "clear")

CAUTIONS = (
    "Pull the mains plug before you open the cabinet or reach in; parts can stay live and hot "
    "after that.",
    "A drum at speed keeps turning after the power is gone: wait until it stands still.",
    "Water and heater may be scalding; drain and let cool first.",
    "The machine is heavy: do not lift or tilt it alone.",
    "The maker's instructions and the local rules come first; work on live parts is for "
    "licensed people only.",
)
SHORT_CAUTION = (
    "Plug out, drum at a standstill and water cold before you reach in; readings on live parts "
    "only by those licensed for it; the maker's instructions and local rules come first."
)
LIMITS = (
    "It hears rotation and noise; it cannot see rust, play or wear, nor predict how long a part "
    "will last.",
    "From sound it gives no vibration in mm/s and no imbalance in grams.",
    "A part that makes no noise in this test is not thereby proven sound.",
)


@dataclass(frozen=True, kw_only=True)
class Unmeasured:
    """Something that this recording cannot tell: what, why, and which recording would."""

    what: str
    reason: str
    remedy: str


def unmeasured(analysis: Analysed) -> tuple[Unmeasured, ...]:
    """Everything that could not be measured, in the order in which it is reported."""
    return tuple(_unmeasured(analysis))


def _unmeasured(analysis: Analysed) -> Iterator[Unmeasured]:
    track = analysis.track
    if track.reason:
        what = "the drum's speed in rpm" if track.scale == "relative" else "the drum's speed"
        yield Unmeasured(what=what, reason=track.reason, remedy="")
    if analysis.machine is None:
        yield Unmeasured(
            what="whether the speeds are the right ones",
            reason="No machine profile was given, so the expected speeds are not known.",
            remedy="Run the check again with --machine and the profile that fits the unit.",
        )
    yield from _unmeasured_stages(analysis.stages, already=track.reason)
    for finding in analysis.findings:
        if finding.state == "not measurable":
            yield Unmeasured(what=finding.subject, reason=finding.reason, remedy=finding.next_step)


def _unmeasured_stages(table: StageTable, *, already: str) -> Iterator[Unmeasured]:
    """Stages that share a reason as one; a reason that was given already is not repeated."""
    names: dict[str, list[str]] = {}
    for stage in table.stages:
        if stage.outcome == "not measurable":
            names.setdefault(stage.reason, []).append(stage_name(stage))
    for reason, which in names.items():
        if already and already.rstrip(".").lower() in reason.lower():
            continue
        listed = " and ".join([*([", ".join(which[:-1])] if which[1:] else []), which[-1]])
        what = f"the {listed} stage{'s' if which[1:] else ''}"
        yield Unmeasured(what=what, reason=reason, remedy="")


def sorted_findings(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings with the gravest first and, within a state, the surest first."""
    return tuple(
        sorted(findings, key=lambda f: (STATE_ORDER.index(f.state), -(f.probability or 0.0)))
    )


def stage_name(stage: Stage) -> str:
    """How a stage is called in a sentence: by the speed asked for, else by the one measured."""
    if stage.expected_rpm is not None:
        return f"{stage.expected_rpm:g} rpm"
    return f"{number(stage.speed_rpm, 0)} rpm" if stage.speed_rpm else "unknown"


def number(value: float | None, decimals: int, *, sign: bool = False) -> str:
    """A number with fixed decimals, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NO_NUMBER
    return f"{value:{'+' if sign else ''}.{decimals}f}".replace("-", "−")


def measured(value: float | None, standard_uncertainty: float | None) -> str:
    """A value with its 95 % interval, both cut to the uncertainty's two leading digits.

    >>> measured(1331.2345, 0.211)
    '1331.23 ± 0.42'
    >>> measured(1331.2345, None)
    '1331 ± ?'
    >>> measured(None, None)
    '–'
    """
    if value is None or not math.isfinite(value):
        return NO_NUMBER
    if standard_uncertainty is None or not math.isfinite(standard_uncertainty):
        return f"{number(value, 0)} ± ?"
    half = COVERAGE_FACTOR * standard_uncertainty
    decimals = uncertainty_decimals(half)
    return f"{number(value, decimals)} ± {number(half, decimals)}"


def uncertainty_decimals(half_width: float) -> int:
    """Decimals that show two digits of an uncertainty (GUM 7.2.6), at most three decimals."""
    if half_width <= 0:
        return 2
    return int(min(3, max(0, 1 - math.floor(math.log10(half_width)))))


def clock(time_s: float | None) -> str:
    """A time of the file as a player shows it.

    >>> clock(83.46)
    '1:23'
    >>> clock(3723.0)
    '1:02:03'
    """
    if time_s is None or not math.isfinite(time_s):
        return NO_NUMBER
    sign, whole = ("−" if time_s < 0 else ""), int(abs(time_s))
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{sign}{hours}:{minutes:02d}:{seconds:02d}"
    return f"{sign}{minutes}:{seconds:02d}"


def duration(seconds: float | None) -> str:
    """A length of time: seconds under two minutes, else minutes and seconds."""
    if seconds is None or not math.isfinite(seconds):
        return NO_NUMBER
    return f"{number(seconds, 1)} s" if seconds < 120 else f"{clock(seconds)} min"


def chance(probability: float | None) -> str:
    """A probability in words that claim no more than two digits.

    >>> chance(0.987), chance(0.9999), chance(None)
    ('98.7 %', 'over 99.9 %', 'no honest number')
    """
    if probability is None or not math.isfinite(probability):
        return "no honest number"
    percent = 100 * probability
    if percent > 99.9:
        return "over 99.9 %"
    if percent < 0.1:
        return "under 0.1 %"
    return f"{percent:.1f} %" if percent > 95 or percent < 5 else f"{percent:.0f} %"


def evidence_label(name: str) -> tuple[str, str]:
    """A measurement's name with its unit split off.

    >>> evidence_label("modulation_depth_percent")
    ('modulation depth', '%')
    """
    for ending, unit in _UNITS.items():
        if name.endswith(f"_{ending}") or name == ending:
            stem = name[: -len(ending)].rstrip("_") or ending
            return stem.replace("_", " "), unit
    return name.replace("_", " "), ""


# A list in a sentence longer than this helps nobody.
_MOST_LISTED = 6
_UNITS = {
    "rpm_per_s": "rpm/s",
    "percent": "%",
    "kg_m2": "kg m²",
    "m_per_s2": "m/s²",
    "m_s2": "m/s²",
    "mm_s": "mm/s",
    "g_mm": "g mm",
    "dbfs": "dB re full scale",
    "mm_per_s": "mm/s",
    "rpm": "rpm",
    "khz": "kHz",
    "hz": "Hz",
    "db": "dB",
    "ms": "ms",
    "mm": "mm",
    "um": "µm",
    "deg": "°",
    "ohm": "Ω",
    "s": "s",
    "v": "V",
    "a": "A",
    "w": "W",
}


def evidence_value(value: object) -> str:
    """A piece of evidence, a plain JSON value, as text: numbers to four digits, lists joined.

    >>> evidence_value([1.23456, None, True])
    '1.235, –, yes'
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}".replace("-", "−") if math.isfinite(value) else NO_NUMBER
    if isinstance(value, list | tuple):
        return _listed([evidence_value(part) for part in value])
    if isinstance(value, dict):
        return _listed([_named(name, part) for name, part in value.items()])
    return NO_NUMBER if value is None else str(value)


def _named(name: str, value: object) -> str:
    label, unit = evidence_label(name)
    return f"{label} {evidence_value(value)} {unit}".strip()


def _listed(parts: list[str]) -> str:
    """The first few parts; how many were left out is said, the JSON result has them all."""
    shown = ", ".join(parts[:_MOST_LISTED]) or NO_NUMBER
    left = len(parts) - _MOST_LISTED
    return shown if left <= 0 else f"{shown} and {left} more"


def between_stages(table: StageTable) -> tuple[str, ...]:
    """Sentences about what lies between and after the plateaus."""
    lines = []
    if table.top_speed_rpm is not None:
        top = measured(table.top_speed_rpm, table.top_speed_standard_uncertainty_rpm)
        lines.append(f"Top speed really reached: {top} rpm.")
    if table.retries:
        given_up = ", ".join(
            f"{number(r.speed_rpm, 0)} rpm at {clock(r.time_s)}" for r in table.retries
        )
        times = "once" if len(table.retries) == 1 else f"{len(table.retries)} times"
        lines.append(f"Ramp given up and tried again {times}: {given_up}.")
    if table.coast_down_s is not None:
        to = table.coast_down_to_rpm
        down_to = "" if to is None else f" to {number(to, 0)} rpm" if to else " to standstill"
        lines.append(
            f"Coast-down from {clock(table.coast_down_start_s)}: {duration(table.coast_down_s)}"
            f"{down_to} ({number(table.coast_down_rpm_per_s, 1)} rpm/s)."
        )
    if table.total_s is not None:
        lines.append(f"Whole run: {duration(table.total_s)}.")
    return tuple(lines)


def one_line(text: str) -> str:
    """Outside text without line breaks, control or direction-changing characters."""
    return "".join(
        char if char.isprintable() and unicodedata.category(char) != "Cf" else "�" for char in text
    )
