"""The tables and the picture of the fault bench."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.faults import (
    HEALTHY,
    MODERATE,
    MODERATE_SNR_DB,
    SEVERITIES,
    SNR_DB,
    SOUGHT,
    Sought,
    score,
    states,
)
from tests.benchmarks.roc import area, area_interval, threshold
from tests.benchmarks.tables import interval, markdown, percent

Result = dict[str, Any]
FALSE_ALARMS = 0.01
ACCUSED = {"fault"}
FLAGGED = {"fault", "attention"}
HEADER = (
    "fault",
    "units",
    "area (95 %)",
    "found at 1 % false alarms (95 %)",
    "flagged",
    "called fault",
    "part named",
    "not measurable",
)
ALARM_HEADER = (
    "healthy units",
    "units",
    "called fault",
    "95 % interval",
    "flagged",
    "95 % interval",
)
KINDS = (
    "bearing",
    "imbalance",
    "oscillation",
    "suspension",
    "belt",
    "motor",
    "supply",
    "stage",
    "looseness",
)


def _groups(results: Sequence[Result], name: str) -> tuple[list[Result], list[Result]]:
    """Units with a fault, and healthy ones recorded alike whose drive could have it."""
    faulty = [r for r in results if r["fault"] == name and not r["moderate"]]
    drives = {r["drive"] for r in faulty}
    healthy = [
        r
        for r in results
        if r["fault"] == HEALTHY and r["felt"] == SOUGHT[name].felt and r["drive"] in drives
    ]
    return faulty, healthy


def row(label: str, faulty: Sequence[Result], healthy: Sequence[Result], sought: Sought) -> Any:
    """One line: a group of faulty units against the healthy ones."""
    bad, good = ([score(r, sought) for r in group] for group in (faulty, healthy))
    limit = threshold(good, FALSE_ALARMS)
    found = sum(value > limit for value in bad)
    low, high = interval(found, len(bad))
    left, right = area_interval(bad, good)
    flagged = [r for r in faulty if states(r, sought) & FLAGGED]
    named = sum(_named(r, sought) for r in flagged)
    silent = sum(_silent(r, sought) for r in faulty)
    return (
        label,
        str(len(faulty)),
        f"{area(bad, good):.2f} ({left:.2f}-{right:.2f})",
        f"{percent(found, len(bad), 0)} ({100 * low:.0f}-{100 * high:.0f})",
        percent(len(flagged), len(faulty), 0),
        percent(sum(bool(states(r, sought) & ACCUSED) for r in faulty), len(faulty), 0),
        percent(named, len(flagged), 0) if sought.part else "",
        percent(silent, len(faulty), 0),
    )


def _silent(result: Result, sought: Sought) -> bool:
    """Whether nothing is said; without a scale what is flagged all the same is said."""
    said = states(result, sought)
    unscaled = result["scale"] == "relative" and not said & FLAGGED
    return unscaled or said <= {"not measurable"}


def _named(result: Result, sought: Sought) -> bool:
    return any(
        sought.part in f[1].lower()
        for f in result["findings"]
        if f[0] in sought.kinds and f[2] in FLAGGED
    )


def detection_rows(results: Sequence[Result]) -> list[Any]:
    """Every fault over all, then by severity."""
    rows = []
    for name, sought in SOUGHT.items():
        faulty, healthy = _groups(results, name)
        if not faulty or not healthy:
            continue
        rows.append(row(name, faulty, healthy, sought))
        for level in SEVERITIES:
            some = [r for r in faulty if r["severity"] == level]
            if some:
                rows.append(row(f"  severity {level:g}", some, healthy, sought))
    return rows


def moderate_rows(results: Sequence[Result]) -> list[Any]:
    """Bearing faults as the goal states them, against healthy units of the same noise."""
    rows = []
    for name, sought in SOUGHT.items():
        bad = [r for r in results if r["fault"] == name and r["moderate"]]
        drives = {r["drive"] for r in bad}
        good = [
            r
            for r in results
            if r["fault"] == HEALTHY and r["snr_db"] == MODERATE_SNR_DB and r["drive"] in drives
        ]
        if bad and good:
            rows.append(row(name, bad, good, sought))
    return rows


def noise_rows(results: Sequence[Result]) -> list[Any]:
    """Faults heard, by signal-to-noise ratio, held against healthy units of the same ratio."""
    rows = []
    for name, sought in SOUGHT.items():
        faulty, healthy = _groups(results, name)
        for level in SNR_DB:
            some, good = ([r for r in g if r["snr_db"] == level] for g in (faulty, healthy))
            if some and good:
                rows.append(row(f"{name}, {level:+.0f} dB", some, good, sought))
    return rows


def alarm_rows(results: Sequence[Result]) -> list[Any]:
    """How often healthy units are accused, by the kind of finding."""
    rows = []
    for felt, label in ((False, "sound"), (True, "log")):
        group = [r for r in results if r["fault"] == HEALTHY and r["felt"] == felt]
        group = [r for r in group if r["kept"]]
        for kind in ("any", *KINDS):
            seen = [{f[2] for f in r["findings"] if kind in ("any", f[0])} for r in group]
            counts = [sum(bool(s & wanted) for s in seen) for wanted in (ACCUSED, FLAGGED)]
            cells = []
            for count in counts:
                low, high = interval(count, len(group))
                cells += [percent(count, len(group)), f"{100 * low:.1f}-{100 * high:.1f} %"]
            rows.append((f"{label}, {kind}", str(len(group)), *cells))
    return rows


def report(results: Sequence[Result]) -> str:
    """Everything counted, as Markdown."""
    good = [r for r in results if "error" not in r]
    broken = sorted({step for r in good for step in r["failures"]})
    lines = [
        markdown(ALARM_HEADER, alarm_rows(good)),
        "",
        "Flagged: attention or fault. Intervals: Clopper-Pearson. Left out: "
        f"{sum(not r['kept'] for r in good if r['fault'] == HEALTHY)} healthy units whose drum did "
        "not come within 2 % of every asked speed.",
        "",
        f"Bearings at moderate severity ({MODERATE:g}) and {MODERATE_SNR_DB:+.0f} dB "
        "(goal: an area of 0.98):",
        "",
        markdown(HEADER, moderate_rows(good)),
        "",
        "All severities and signal-to-noise ratios:",
        "",
        markdown(HEADER, detection_rows(good)),
        "",
        "Area: of the receiver operating characteristic, faulty against healthy units recorded "
        "alike. Found: scores above the one that 1 % of those healthy units exceed. Not "
        "measurable: nothing is said about this trouble, or the scale of the speed stayed open. "
        "Severity is the simulator's own scale, 0.1 incipient to 1 gross; imbalance below 0.32 "
        "and hunting below 0.4 lie within what healthy units show.",
        "",
        markdown(HEADER, noise_rows(good)),
        "",
        f"{len(results)} units, {len(results) - len(good)} stopped by an error; steps that failed "
        f"within an analysis: {', '.join(broken) or 'none'} "
        f"({sum(bool(r['failures']) for r in good)} units).",
    ]
    failures = sorted({r["error"] for r in results if "error" in r})
    return "\n".join([*lines, *[f"Error: {text}" for text in failures[:10]]])


def draw(results: Sequence[Result], target: Path) -> str:
    """Area against severity, one small panel per fault."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    good = [r for r in results if "error" not in r]
    columns = 4
    count = -(-len(SOUGHT) // columns)
    figure, axes = plt.subplots(
        count, columns, figsize=(12, 2.4 * count), sharex=True, sharey=True, layout="constrained"
    )
    for (name, sought), panel in zip(SOUGHT.items(), axes.flat, strict=False):
        faulty, healthy = _groups(good, name)
        limit = threshold([score(r, sought) for r in healthy], FALSE_ALARMS)
        groups = [[score(r, sought) for r in faulty if r["severity"] == s] for s in SEVERITIES]
        areas = [area(g, [score(r, sought) for r in healthy]) for g in groups]
        found = [np.mean(np.array(g) > limit) if g else np.nan for g in groups]
        panel.plot(SEVERITIES, areas, "-o", color="black", label="area")
        panel.plot(SEVERITIES, found, "--s", color="black", label="found at 1 % false alarms")
        panel.axhline(0.5, color="0.5", linewidth=0.8, linestyle=":")
        panel.set_title(name, fontsize=9)
    for panel in axes.flat[len(SOUGHT) :]:
        panel.set_visible(False)
    axes.flat[0].set(ylim=(-0.03, 1.03))
    axes.flat[0].legend(fontsize=7)
    figure.supxlabel("severity (0.1 incipient, 1 gross)")
    figure.supylabel("share")
    figure.savefig(target, dpi=100)
    plt.close(figure)
    return target.name
