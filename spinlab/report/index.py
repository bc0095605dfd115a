"""The index of many recordings: one self-contained page, the gravest first, with a filter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from spinlab.report import words
from spinlab.report.language import ENGLISH, tell
from spinlab.report.shell import policy, style_of, template, text_of

# Each state with its word on the page; the order is that of the rows.
STATES = {
    "fault": "Fault found",
    "attention": "Attention",
    "failed": "Not checked",
    "not measurable": "Not measurable",
    "clear": "Fine",
}
FAILURE_WORDS = {
    "defect": "a defect of spinlab",
    "crash": "crashed",
    "killed": "killed from outside",
    "unreadable": "not readable",
    "unusable": "not usable",
    "changing": "still changing",
    "timeout": "took too long",
    "cpu": "took too much processor time",
    "memory": "needs too much memory",
}


@dataclass(frozen=True, kw_only=True)
class IndexRow:
    """One recording of the index.

    Attributes:
        name: its path as shown.
        state: one of `STATES`.
        failure: one of `FAILURE_WORDS`, where the state is "failed".
        sentence: the verdict, or why there is none.
        probability: of the finding that decides the verdict.
        top_speed_rpm: highest speed held, with its standard uncertainty.
        stages_reached: plateaus reached; None where none of them could be measured.
        stages_expected: plateaus that the programme asks for.
        machine: name of its profile.
        result: relative address of its JSON; empty without one.
        page: relative address of its page; empty without one.
    """

    name: str
    state: str
    sentence: str
    failure: str = ""
    probability: float | None = None
    top_speed_rpm: float | None = None
    top_speed_standard_uncertainty_rpm: float | None = None
    stages_reached: int | None = None
    stages_expected: int | None = None
    machine: str = ""
    result: str = ""
    page: str = ""


def index_html(
    rows: Iterable[IndexRow], *, counts: Mapping[str, int], table: str = ""
) -> Iterator[str]:
    """The page in pieces, so that ten thousand rows need no memory of their own.

    Args:
        rows: the recordings, in the order in which they are to stand.
        counts: how many there are of each state.
        table: relative address of the same as CSV.
    """
    style, script = style_of("index.css"), text_of("index.js")
    return template("index.html").generate(
        style=style,
        script=script,
        policy=policy(style, script),
        states=[(state, word, counts.get(state, 0)) for state, word in STATES.items()],
        total=sum(counts.values()),
        rows=(_shown(row) for row in rows),
        table=table,
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        words=words,
        _=tell,
        language=ENGLISH,
    )


def _shown(row: IndexRow) -> dict[str, Any]:
    speed = words.measured(row.top_speed_rpm, row.top_speed_standard_uncertainty_rpm)
    facts = []
    if row.probability is not None:
        facts.append(("probability", words.chance(row.probability)))
    if row.top_speed_rpm is not None:
        facts.append(("top speed", f"{speed} rpm"))
    if row.stages_expected and row.stages_reached is not None:
        facts.append(("stages reached", f"{row.stages_reached} of {row.stages_expected}"))
    if row.machine:
        facts.append(("profile", row.machine))
    word = STATES[row.state]
    return {
        "name": words.one_line(row.name),
        "state": row.state.replace(" ", "-"),
        "word": f"{word}: {FAILURE_WORDS[row.failure]}" if row.failure else word,
        "sentence": words.one_line(row.sentence),
        "facts": facts,
        "result": row.result,
        "page": row.page,
    }
