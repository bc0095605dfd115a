"""The words of every report: states, outcomes, numbers with their uncertainty, cautions.

Text and page both take their wording from here, so that they never differ.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from spinlab.finding import Finding, State
from spinlab.phrase import clause, listed, say, sentence
from spinlab.report.language import current, tell, tell_many
from spinlab.result import Analysed
from spinlab.stages import Outcome, Stage, StageTable

# A stated interval is two standard uncertainties wide to each side: coverage factor 2, about
# 95 % (GUM, JCGM 100:2008, 6.2 and 6.3).
COVERAGE_FACTOR = 2.0
INTERVAL_NOTE = say("± is twice the standard uncertainty, about 95 %.")
NO_NUMBER = "–"

STATE_WORDS: dict[State, str] = {
    "clear": say("Fine"),
    "attention": say("Attention"),
    "fault": say("Fault found"),
    "not measurable": say("Not measurable"),
}
# What stands worst first in a list of findings.
STATE_ORDER: tuple[State, ...] = ("fault", "attention", "not measurable", "clear")

CAUTIONS = (
    say(
        "Pull the mains plug before you open the cabinet or reach in; parts can stay live and hot "
        "after that."
    ),
    say("A drum at speed keeps turning after the power is gone: wait until it stands still."),
    say("Water and heater may be scalding; drain and let cool first."),
    say("The machine is heavy: do not lift or tilt it alone."),
    say(
        "The maker's instructions and the local rules come first; work on live parts is for "
        "licensed people only."
    ),
)
SHORT_CAUTION = say(
    "Plug out, drum at a standstill and water cold before you reach in; readings on live parts "
    "only by those licensed for it; the maker's instructions and local rules come first."
)
LIMITS = (
    say(
        "It hears rotation and noise; it cannot see rust, play or wear, nor predict how long a "
        "part will last."
    ),
    say("From sound it gives no vibration in mm/s and no imbalance in grams."),
    say("A part that makes no noise in this test is not thereby proven sound."),
)
OUTCOME_WORDS: dict[Outcome, str] = {
    "reached": say("reached"),
    "late": say("late"),
    "off speed": say("off speed"),
    "missed": say("missed"),
    "extra": say("extra"),
    "not measurable": say("not measurable"),
}


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
        relative = track.scale == "relative"
        what = say("the drum's speed in rpm") if relative else say("the drum's speed")
        yield Unmeasured(what=tell(what), reason=in_full(track.reason), remedy="")
    if analysis.machine is None:
        yield Unmeasured(
            what=tell(say("whether the speeds are the right ones")),
            reason=tell(say("No machine profile was given, so the expected speeds are not known.")),
            remedy=tell(
                say("Run the check again with --machine and the profile that fits the unit.")
            ),
        )
    yield from _unmeasured_stages(analysis.stages, already=track.reason)
    for finding in analysis.findings:
        if finding.state == "not measurable":
            yield Unmeasured(
                what=tell(finding.subject),
                reason=_without(in_full(finding.reason), track.reason),
                remedy=in_full(finding.next_step),
            )


def _without(told: str, already: str) -> str:
    """A reason that names another as its own reason, without that one if it was given already."""
    return told.replace(f": {tell(clause(already))}", "") if already else told


def _unmeasured_stages(table: StageTable, *, already: str) -> Iterator[Unmeasured]:
    """Stages that share a reason as one; a reason that was given already is not repeated."""
    names: dict[str, list[str]] = {}
    for stage in table.stages:
        if stage.outcome == "not measurable":
            names.setdefault(stage.reason, []).append(stage_name(stage))
    for reason, which in names.items():
        if already and already.rstrip(".").lower() in reason.lower():
            continue
        what = tell_many(
            "the {names} stage", "the {names} stages", count=len(which), names=listed(which)
        )
        yield Unmeasured(what=what, reason=in_full(reason), remedy="")


def sorted_findings(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings with the gravest first and, within a state, the surest first."""
    return tuple(
        sorted(findings, key=lambda f: (STATE_ORDER.index(f.state), -(f.probability or 0.0)))
    )


def stage_name(stage: Stage) -> str:
    """How a stage is called in a sentence: by the speed asked for, else by the one measured."""
    if stage.expected_rpm is not None:
        return tell("{speed:g} rpm", speed=stage.expected_rpm)
    return tell("{speed:.0f} rpm", speed=stage.speed_rpm) if stage.speed_rpm else tell("unknown")


def number(value: float | None, decimals: int, *, sign: bool = False) -> str:
    """A number with fixed decimals, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NO_NUMBER
    text = f"{value:{'+' if sign else ''}.{decimals}f}".replace("-", "−")
    return text.replace(".", current().decimal_mark)


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
        return tell(say("no honest number"))
    percent = 100 * probability
    if percent > 99.9:
        return tell("over {limit} %", limit=number(99.9, 1))
    if percent < 0.1:
        return tell("under {limit} %", limit=number(0.1, 1))
    return f"{number(percent, 1 if percent > 95 or percent < 5 else 0)} %"


def trouble(finding: Finding) -> str:
    """How likely a finding's trouble is, in brackets; "" where no honest number exists."""
    if finding.probability is None:
        return ""
    likely = chance(finding.probability)
    if finding.state == "clear":
        return tell(" (trouble: {chance})", chance=likely)
    return tell(" (probability {chance})", chance=likely)


def in_full(text: str) -> str:
    """A reason or a next step, which may begin small and lack its stop, as a sentence.

    >>> in_full("no half order stands out")
    'No half order stands out.'
    """
    return tell(sentence(text)) if text else ""


def one_line(text: str) -> str:
    """Outside text without line breaks, control or direction-changing characters."""
    return "".join(
        char if char.isprintable() and unicodedata.category(char) != "Cf" else "�" for char in text
    )
