"""The words of stages: when each was reached, its speed, what is indicated, what lies between."""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.phrase import say
from spinlab.report.language import tell, tell_many
from spinlab.report.words import clock, duration, measured, number
from spinlab.stages import Stage, StageTable

INDICATED_NOTE = say("In brackets: a mere indication, too uncertain for a verdict.")
CLIMB_NOTE = say("+ counts from the end of the plateau before, where the start was not heard.")


def arrival(stage: Stage) -> str:
    """When a stage was reached: seconds from the start, else from the plateau before."""
    if stage.reached_after_s is None and stage.climb_s is not None:
        return f"+{number(stage.climb_s, 0)}"
    return number(stage.reached_after_s, 0)


def stage_speed(stage: Stage) -> str:
    """A stage's measured speed; in brackets what is merely indicated."""
    if stage.speed_rpm is None and stage.indicated_rpm is not None:
        return f"({measured(stage.indicated_rpm, stage.indicated_standard_uncertainty_rpm)})"
    return measured(stage.speed_rpm, stage.standard_uncertainty_rpm)


def is_indicated(stages: Sequence[Stage]) -> bool:
    """Whether any stage has an indication in place of a measured speed."""
    return any(stage.speed_rpm is None and stage.indicated_rpm is not None for stage in stages)


def _open_above(table: StageTable, speed_rpm: float) -> bool:
    """Whether a stage faster than a speed could not be measured: the drum may have reached it."""
    return any(
        stage.outcome == "not measurable" and (stage.expected_rpm or 0.0) > speed_rpm
        for stage in table.stages
    )


def _top_speed(speed: str, *, open_above: bool) -> str:
    if open_above:
        return tell(
            "Fastest speed measured: {speed} rpm; the drum may have turned faster.", speed=speed
        )
    return tell("Top speed really reached: {speed} rpm.", speed=speed)


def between_stages(table: StageTable) -> tuple[str, ...]:
    """Sentences about what lies between and after the plateaus."""
    lines = []
    if table.top_speed_rpm is not None:
        top = measured(table.top_speed_rpm, table.top_speed_standard_uncertainty_rpm)
        lines.append(_top_speed(top, open_above=_open_above(table, table.top_speed_rpm)))
    if table.retries:
        given_up = ", ".join(
            tell("{speed} rpm at {time}", speed=number(r.speed_rpm, 0), time=clock(r.time_s))
            for r in table.retries
        )
        lines.append(
            tell_many(
                "Ramp given up and tried again once: {where}.",
                "Ramp given up and tried again {count} times: {where}.",
                count=len(table.retries),
                where=given_up,
            )
        )
    if table.coast_down_s is not None:
        lines.append(_coast_down(table))
    if table.total_s is not None:
        lines.append(tell("Whole run: {time}.", time=duration(table.total_s)))
    return tuple(lines)


def _coast_down(table: StageTable) -> str:
    to = table.coast_down_to_rpm
    ending = ""
    if to is not None:
        ending = tell(" to {speed} rpm", speed=number(to, 0)) if to else tell(say(" to standstill"))
    return tell(
        "Coast-down from {start}: {time}{ending} ({slope} rpm/s).",
        start=clock(table.coast_down_start_s),
        time=duration(table.coast_down_s),
        ending=ending,
        slope=number(table.coast_down_rpm_per_s, 1),
    )
