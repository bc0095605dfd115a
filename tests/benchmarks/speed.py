"""The speed table: every case simulated, written, read, tracked and held against its truth."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any

from tests.benchmarks.audible import audible, sentence
from tests.benchmarks.population import Case, describe, make, through_a_file
from tests.benchmarks.profiles import generic
from tests.benchmarks.scoring import (
    COVERAGE_FACTOR,
    GROSS,
    compare,
    frames,
    indicated_plateaus,
    measured_plateaus,
    score,
)
from tests.benchmarks.tables import (
    HEADER,
    LEGEND,
    interval,
    log_rows,
    markdown,
    percent,
    speed_rows,
    tally,
)

Result = dict[str, Any]


def measure(case: Case) -> Result:
    """One case, from nothing to its scores."""
    from spinlab.speed import track_speed

    made = make(case)
    parameters = made.truth.parameters
    about = describe(case, parameters)
    recording = through_a_file(made)
    machine = generic(parameters)
    began = time.process_time()
    try:
        track = track_speed(recording, machine)
    except Exception as error:
        return about | {"error": f"{type(error).__name__}: {error}"}
    seconds = time.process_time() - began
    felt = case.kind == "acceleration"
    fastest = 30.0 * recording.rate_hz if felt else float("inf")
    log_rate = recording.rate_hz if felt else None
    plateaus, missed = measured_plateaus(track, machine, log_rate_hz=log_rate)
    held = [stage.expected_rpm for stage in made.truth.stages if stage.reached]
    return (
        about
        | score(plateaus, made.truth, fastest_rpm=fastest)
        | {
            "duration_s": recording.duration_s,
            "track_cpu_s": seconds,
            "scale": track.scale,
            "true_snr_db": made.truth.snr_db,
            "frames": frames(track, made.truth),
            "indicated": [compare(one, made.truth) for one in indicated_plateaus(track, machine)],
            "audible": [] if felt else audible(recording, made.truth),
            "wrongly_missed": [rpm for rpm in missed if rpm in held],
            "motor_ratio": made.truth.motor_ratio,
        }
    )


def report(results: Sequence[Result], where: str) -> str:
    """Everything counted about sound, as Markdown."""
    table = markdown(HEADER, speed_rows([r for r in results if "drive" in r]))
    return "\n".join([goals(results), "", table, "", LEGEND, "", *summary(results, where)])


def goals(results: Sequence[Result]) -> str:
    """What was aimed at, beside what came out."""
    good = [r for r in results if "error" not in r]
    t = tally(good)
    whole = t.measured
    spent = sum(r["track_cpu_s"] for r in good)
    speed = sum(r["duration_s"] for r in good) / spent if spent else 0.0
    rows = (
        ("measured plateaus within 0.3 %", ">= 95 %", percent(t.close, whole), t.close, 0.95, 1.0),
        ("median error", "<= 0.1 %", f"{100 * t.quantile(0.5):.3f} %", t.quantile(0.5), 0, 1e-3),
        ("95 % interval covers", "90 to 99 %", percent(t.covered, whole), t.covered, 0.9, 0.99),
        ("wrong multiple", "<= 0.5 %", percent(t.multiples, whole, 2), t.multiples, 0.0, 0.005),
        ("times real time, one core", ">= 40", f"{speed:.0f}", speed, 40.0, 1e9),
    )
    lines = []
    for name, goal, text, value, low, high in rows:
        share = value / max(whole, 1) if isinstance(value, int) else value
        lines.append((name, goal, text, "yes" if whole and low <= share <= high else "no"))
    return markdown(("goal", "aim", "measured", "met"), lines)


def report_logs(results: Sequence[Result], where: str) -> str:
    """Everything counted about acceleration logs, as Markdown."""
    table = markdown(HEADER, log_rows([r for r in results if "drive" in r]))
    return "\n".join(
        [
            table,
            "",
            "Acceleration logs; plateaus faster than half the log's rate are not counted as held.",
            "",
            *summary(results, where),
        ]
    )


# An indication is for orientation: within this share of the truth it serves.
ROUGH = 0.01


def _indicated(good: Sequence[Result]) -> str:
    """What is indicated and not measured."""
    found = [one for r in good for one in r["indicated"]]
    if not found:
        return "Indicated plateaus: none."
    off = [abs(one["error"]) for one in found]
    return (
        f"Plateaus indicated, not measured: {len(found)} in "
        f"{sum(bool(r['indicated']) for r in good)} recordings; within 1 % "
        f"{percent(sum(e <= ROUGH for e in off), len(off))}, off by more than 2 % "
        f"{percent(sum(e > GROSS for e in off), len(off))}, interval "
        f"({COVERAGE_FACTOR:g} standard uncertainties) covers "
        f"{percent(sum(one['covered'] for one in found), len(found))}."
    )


def summary(results: Sequence[Result], where: str) -> list[str]:
    """What concerns whole recordings."""
    good = [r for r in results if "error" not in r]
    t = tally(results)
    lines = [
        f"{where}: {t.recordings} recordings, {t.failed} stopped by an error.",
        _recordings("With a plateau off by more than 2 %", t.gross_recordings, len(good)),
        _recordings("With no plateau measured", sum(not r["plateaus"] for r in good), len(good)),
        _recordings("Of undecided scale", sum(r["scale"] == "relative" for r in good), len(good)),
        f"Plateaus held but said to be missed: {sum(len(r['wrongly_missed']) for r in good)}.",
        _frames(good),
        _indicated(good),
    ]
    heard = [row for r in good for row in r["audible"]]
    if heard:
        lines.append(sentence(heard))
    if good:
        length = sum(r["duration_s"] for r in good)
        spent = sum(r["track_cpu_s"] for r in good)
        lines.append(
            f"Tracking: {length / 60:.0f} minutes of recording in {spent / 60:.1f} minutes of one "
            f"core's time, {length / max(spent, 1e-9):.0f} times faster than real time."
        )
    failures = sorted({r["error"] for r in results if "error" in r})
    lines += [f"Error: {text}" for text in failures[:10]]
    return lines


def _recordings(label: str, part: int, whole: int) -> str:
    low, high = interval(part, whole)
    return (
        f"{label}: {part} of {whole} recordings ({percent(part, whole)}; "
        f"95 % interval {100 * low:.1f} to {100 * high:.1f} %)."
    )


def _frames(good: Sequence[Result]) -> str:
    total = {
        key: sum(r["frames"][key] for r in good)
        for key in ("spin", "known", "within_1_percent", "beyond_5_percent")
    }
    return (
        f"Frames above 300 rpm: {percent(total['known'], total['spin'])} with a speed; of these "
        f"{percent(total['within_1_percent'], total['known'])} within 1 %, "
        f"{percent(total['beyond_5_percent'], total['known'])} off by more than 5 %."
    )
