"""One self-contained page that reads well on a phone, on a desk and on paper.

Nothing is fetched and nothing is sent: style, script, pictures and sound travel inside the page,
and a content security policy forbids the rest.
"""

from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Mapping
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np

from spinlab.finding import Finding
from spinlab.portrait import Portrait, portrait
from spinlab.report import words
from spinlab.report.facts import facts
from spinlab.report.phases import phase_lines
from spinlab.report.pictures import BLUE, FAINT, GREEN, INK, SHEETS, VERMILION, Shape, figure
from spinlab.report.sound import LONGEST_SOUND_S, sound_uri
from spinlab.result import Analysed, plain, result
from spinlab.stages import Stage

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Greys, and each hue of the picture faded towards white: a picture of so few colours weighs a
# third of the full one.  Greys this light become white, so that paper stays paper.
_GREYS, _FADES, _PAPER = 100, 20, 0.97
# Points of the track that the page's cursor reads from.
_MOST_CURSOR_POINTS = 3000


def page_html(analysis: Analysed) -> str:
    """The whole report as the text of one HTML file.

    Args:
        analysis: a finished analysis.

    Returns:
        HTML that needs no other file and no network.
    """
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(_template),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style, script = _template("page.css"), _template("page.js")
    return environment.get_template("page.html").render(
        style=style,
        script=script,
        policy=_policy(style, script),
        words=words,
        **_content(analysis),
    )


def _template(name: str) -> str:
    return (resources.files("spinlab.report") / "templates" / name).read_text("utf-8")


def _policy(style: str, script: str) -> str:
    """Allow our own style and script by their hashes, embedded media, and nothing else."""
    return (
        "default-src 'none'; img-src data:; media-src data: blob:; "
        f"style-src '{_digest(style)}'; script-src '{_digest(script)}'"
    )


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def _content(analysis: Analysed) -> dict[str, Any]:
    drawn = portrait(analysis.recording, analysis.track, analysis.stages, analysis.machine)
    pictures = {shape: _picture(drawn, shape) for shape in SHEETS}
    sound = sound_uri(analysis.recording)
    return {
        "file": words.one_line(analysis.recording.source.file),
        "verdict": analysis.verdict,
        "state_word": words.STATE_WORDS[analysis.verdict.state],
        "analysis": analysis,
        "stages": [_stage(stage) for stage in analysis.stages.stages],
        "between": words.between_stages(analysis.stages),
        "findings": [
            _finding(finding)
            for finding in words.sorted_findings(analysis.findings)
            if finding.state != "not measurable"
        ],
        "phases": phase_lines(getattr(analysis, "phases", None)),
        "unmeasured": words.unmeasured(analysis),
        "quality_remarks": tuple(getattr(analysis.quality, "remarks", ())),
        "facts": facts(analysis),
        "pictures": pictures,
        "picture_alt": _alt(analysis),
        "sound": sound,
        "hearable": analysis.recording.kind == "sound",
        "longest_sound": words.duration(LONGEST_SOUND_S),
        "cursor": _cursor(analysis, drawn, pictures, embedded=sound is not None),
    }


def _stage(stage: Stage) -> dict[str, Any]:
    reached = words.number(stage.reached_after_s, 0)
    allowed = "" if stage.allowed_s is None else f" of {stage.allowed_s:.0f}"
    return {
        "asked": words.number(stage.expected_rpm, 0),
        "outcome": stage.outcome,
        "mark": _MARKS[stage.outcome],
        "speed": words.measured(stage.speed_rpm, stage.standard_uncertainty_rpm),
        "off_rpm": words.number(stage.deviation_rpm, 1, sign=True),
        "off_percent": words.number(stage.deviation_percent, 2, sign=True),
        "start_s": stage.start_s,
        "start": words.clock(stage.start_s),
        "end": words.clock(stage.end_s),
        "reached": reached + allowed,
        "dwell": words.number(stage.dwell_s, 0),
        "ripple": words.number(stage.ripple_percent, 2),
        "ripple_rate": words.number(stage.ripple_rate_hz, 2),
        "overshoot": words.number(stage.overshoot_percent, 1),
        "rise": words.number(stage.rise_rpm_per_s, 0),
        "reason": stage.reason if stage.outcome != "reached" else "",
    }


# The state whose shape and colour an outcome borrows.
_MARKS = {
    "reached": "clear",
    "late": "attention",
    "extra": "attention",
    "off speed": "fault",
    "missed": "fault",
    "not measurable": "not measurable",
}


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "value": finding,
        "state_word": words.STATE_WORDS[finding.state],
        "chance": words.chance(finding.probability),
        "rivals": [(rival.cause, words.chance(rival.probability)) for rival in finding.rivals],
        "evidence": [
            (*words.evidence_label(name), words.evidence_value(plain(value)))
            for name, value in finding.evidence.items()
        ],
    }


def _picture(drawn: Portrait, shape: Shape) -> dict[str, Any]:
    page = figure(drawn, shape=shape)
    left, _, width, _ = page.axes[0].get_position().bounds
    sheet = SHEETS[shape]
    return {
        "uri": "data:image/png;base64," + base64.b64encode(_small_png(page)).decode("ascii"),
        "left": round(left, 5),
        "right": round(left + width, 5),
        "width": round(sheet.width_in * sheet.dots_per_inch),
        "height": round(sheet.height_in * sheet.dots_per_inch),
    }


def _small_png(page: Figure) -> bytes:
    from PIL import Image

    stream = io.BytesIO()
    page.savefig(stream, format="png")
    full = Image.open(stream).convert("RGB")
    few = Image.new("P", (1, 1))
    few.putpalette(_palette())
    small = io.BytesIO()
    full.quantize(palette=few, dither=Image.Dither.NONE).save(small, format="PNG", optimize=True)
    return small.getvalue()


def _palette() -> bytes:
    from matplotlib.colors import to_rgb

    greys = np.linspace(0, 1, _GREYS)
    colours = [np.full(3, grey if grey < _PAPER else 1.0) for grey in greys]
    for hue in (BLUE, VERMILION, GREEN, INK, FAINT):
        tone = np.array(to_rgb(hue))
        colours += [tone + fade * (1 - tone) for fade in np.linspace(0, 0.85, _FADES)]
    return np.round(255 * np.array(colours)).astype(np.uint8).tobytes()


def _alt(analysis: Analysed) -> str:
    stages = "; ".join(
        f"{words.stage_name(stage)} {stage.outcome}" for stage in analysis.stages.stages
    )
    return (
        "Charts over the time in the file: the spectrogram with the lines that turn with the "
        f"drum, and the drum's speed. Stages: {stages or 'none found'}. The same numbers stand in "
        "the table of stages."
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
    return {
        "start_s": drawn.start_s,
        "end_s": drawn.end_s,
        # Embedded sound starts at the first sample, wherever that lies on the file's clock.
        "sound_start_s": drawn.start_s if embedded else 0.0,
        "coverage": words.COVERAGE_FACTOR,
        "scale": drawn.scale,
        "spans": {shape: [p["left"], p["right"]] for shape, p in pictures.items()},
        **{
            key: track[key][::step]
            for key in ("time_s", "speed_rpm", "standard_uncertainty_rpm", "motion")
        },
    }
