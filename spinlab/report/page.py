"""One self-contained page that reads well on a phone, on a desk and on paper.

Nothing is fetched and nothing is sent: style, script, pictures and sound travel inside the page,
and a content security policy forbids the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from spinlab.finding import Finding
from spinlab.fitness import better_take, fitness
from spinlab.phrase import listed
from spinlab.portrait import Portrait, portrait
from spinlab.report import stage_words, words
from spinlab.report.card import card
from spinlab.report.facts import facts
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.phases import phase_lines
from spinlab.report.pictures import Shape, figure
from spinlab.report.readings import reading_rows
from spinlab.report.shell import rendered, style_of, text_of
from spinlab.report.small import both_shapes
from spinlab.report.sound import LONGEST_SOUND_S, clip_players, sound_uri
from spinlab.result import Analysed, result
from spinlab.stages import Stage

# Points of the track that the page's cursor reads from.
_MOST_CURSOR_POINTS = 3000


def page_html(analysis: Analysed, *, language: str = ENGLISH) -> str:
    """The whole report as the text of one HTML file.

    Args:
        analysis: a finished analysis.
        language: code of a language that ships (`spinlab.report.language.languages`).

    Returns:
        HTML that needs no other file and no network.
    """
    style, script = style_of("page.css"), text_of("page.js")
    with speaking(language):
        content = _content(analysis)
        return rendered("page.html", style, script, **content)


def _content(analysis: Analysed) -> dict[str, Any]:
    drawn = portrait(analysis.recording, analysis.track, analysis.stages, analysis.machine)
    pictures = both_shapes(lambda shape: figure(drawn, shape=shape))
    sound = sound_uri(analysis.recording)
    return {
        "file": words.one_line(analysis.recording.source.file),
        "verdict": analysis.verdict,
        "state_word": tell(words.STATE_WORDS[analysis.verdict.state]),
        "analysis": analysis,
        "stages": [_stage(stage) for stage in analysis.stages.stages],
        "any_climb": any(stage_words.arrival(s).startswith("+") for s in analysis.stages.stages),
        "any_speed": any(stage.speed_rpm is not None for stage in analysis.stages.stages)
        or stage_words.is_indicated(analysis.stages.stages),
        "any_indicated": stage_words.is_indicated(analysis.stages.stages),
        "whys": _whys(analysis.stages.stages),
        "between": stage_words.between_stages(analysis.stages),
        **_findings(analysis),
        "phases": phase_lines(getattr(analysis, "phases", None)),
        "readings": reading_rows(getattr(analysis, "readings", ())),
        "unmeasured": words.unmeasured(analysis),
        "quality_remarks": tuple(getattr(analysis.quality, "remarks", ())),
        "fits": fitness(analysis.quality, analysis.machine),
        "advice": better_take(analysis.quality, analysis.track, analysis.machine),
        "facts": facts(analysis),
        "pictures": pictures,
        "picture_alt": _alt(analysis),
        "sound": sound,
        "hearable": analysis.recording.kind == "sound",
        "longest_sound": words.duration(LONGEST_SOUND_S),
        "cursor": _cursor(analysis, drawn, pictures, embedded=sound is not None),
    }


def _findings(analysis: Analysed) -> dict[str, Any]:
    """Cards of what speaks and of what is fine, each with its proof and its clip."""
    from spinlab.proofs import proofs

    charts = dict(zip(map(id, analysis.findings), proofs(analysis), strict=True))
    players = clip_players(analysis)
    places = {id(finding): index for index, finding in enumerate(analysis.findings)}

    def cards(*, clear: bool) -> list[dict[str, Any]]:
        return [
            card(finding, charts[id(finding)], players.get(places[id(finding)], ()))
            for finding in words.sorted_findings(analysis.findings)
            if _is_shown(finding, clear=clear)
        ]

    return {
        "findings": cards(clear=False),
        "clear": cards(clear=True),
        "lines": players.get(None, ()),
    }


def _is_shown(finding: Finding, *, clear: bool) -> bool:
    return finding.state != "not measurable" and (finding.state == "clear") == clear


def _stage(stage: Stage) -> dict[str, Any]:
    reached = stage_words.arrival(stage)
    if stage.allowed_s is not None and stage.reached_after_s is not None:
        reached = tell("{reached} of {allowed:.0f}", reached=reached, allowed=stage.allowed_s)
    return {
        "asked": words.number(stage.expected_rpm, 0),
        "outcome": tell(words.OUTCOME_WORDS[stage.outcome]),
        "mark": _MARKS[stage.outcome],
        "speed": stage_words.stage_speed(stage),
        "off_percent": words.number(stage.deviation_percent, 2, sign=True),
        "start_s": stage.start_s,
        "start": words.clock(stage.start_s),
        "end": words.clock(stage.end_s),
        "reached": reached,
        "dwell": words.number(stage.dwell_s, 0),
        "ripple": words.number(stage.ripple_percent, 2),
        "overshoot": words.number(stage.overshoot_percent, 1),
        "rise": words.number(stage.rise_rpm_per_s, 0),
    }


def _whys(stages: Sequence[Stage]) -> list[tuple[str, str]]:
    """(which stages and their outcome, why) of all but those reached; a shared reason once."""
    groups: dict[tuple[str, str], list[str]] = {}
    for stage in stages:
        if stage.reason and stage.outcome != "reached":
            key = (tell(words.OUTCOME_WORDS[stage.outcome]), words.in_full(stage.reason))
            groups.setdefault(key, []).append(
                words.number(stage.expected_rpm or stage.speed_rpm, 0)
            )
    return [
        (f"{tell(listed(names))} {tell('rpm')}, {outcome}", reason)
        for (outcome, reason), names in groups.items()
    ]


# The state whose shape and colour an outcome borrows.
_MARKS = {
    "reached": "clear",
    "late": "attention",
    "extra": "attention",
    "off speed": "fault",
    "missed": "fault",
    "not measurable": "not measurable",
}


def _alt(analysis: Analysed) -> str:
    stages = "; ".join(
        f"{words.stage_name(stage)} {tell(words.OUTCOME_WORDS[stage.outcome])}"
        for stage in analysis.stages.stages
    )
    return tell(
        "Charts over the time in the file: the spectrogram with the lines that turn with the "
        "drum, and the drum's speed. Stages: {stages}. The same numbers stand in the table of "
        "stages.",
        stages=stages or tell("none found"),
    )


def _cursor(
    analysis: Analysed,
    drawn: Portrait,
    pictures: Mapping[Shape, Mapping[str, Any]],
    *,
    embedded: bool,
) -> dict[str, Any]:
    track = result(analysis)["track"]
    step = max(1, -(-len(track["time_s"]) // _MOST_CURSOR_POINTS))
    motions = sorted(set(track["motion"]))
    return {
        "start_s": drawn.start_s,
        "end_s": drawn.end_s,
        # Embedded sound starts at the first sample, wherever that lies on the file's clock.
        "sound_start_s": drawn.start_s if embedded else 0.0,
        "coverage": words.COVERAGE_FACTOR,
        "unit": tell("rpm") if drawn.scale == "absolute" else tell("(no absolute scale)"),
        "unknown": tell("speed not told"),
        "decimal_mark": words.number(0.5, 1)[1],
        "motions": {motion: tell(motion) for motion in motions},
        "spans": {shape: [p["left"], p["right"]] for shape, p in pictures.items()},
        **{
            key: track[key][::step]
            for key in ("time_s", "speed_rpm", "standard_uncertainty_rpm", "motion")
        },
    }
