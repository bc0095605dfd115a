"""Pictures of what the bench counted: drawing only, readable without colour."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.population import SNR_DB
from tests.benchmarks.tables import Tally, tally

Result = dict[str, Any]
DRIVE_STYLES = {
    "brushed": ("brushed, belt", "-", "o"),
    "three_phase": ("three-phase, belt", "--", "s"),
    "direct": ("direct drive", ":", "^"),
}
GOAL = {"color": "0.5", "linewidth": 0.8, "linestyle": (0, (1, 2))}


def draw_speed(results: Sequence[Result], target: Path) -> str:
    """Error, coverage, refusals and gross errors against the signal-to-noise ratio."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    known = [r for r in results if "drive" in r]
    levels = sorted(SNR_DB)
    tallies = [tally([r for r in known if r["snr_db"] == level]) for level in levels]
    figure, axes = plt.subplots(2, 2, figsize=(10, 7.5), layout="constrained")
    _errors(axes[0, 0], levels, tallies)
    _coverage(axes[0, 1], levels, tallies)
    _failures(axes[1, 0], levels, tallies)
    _distribution(axes[1, 1], known)
    figure.suptitle(f"Speed of plateaus, {len(results)} simulated recordings")
    for panel in (axes[0, 0], axes[0, 1], axes[1, 0]):
        panel.set_xlim(min(levels) - 1.0, max(levels) + 1.0)
    figure.savefig(target, dpi=110)
    plt.close(figure)
    return target.name


def _errors(axes: Any, levels: Sequence[float], tallies: Sequence[Tally]) -> None:
    for share, label, style, marker in ((0.5, "median", "-", "o"), (0.95, "95th perc.", "--", "s")):
        values = [100.0 * t.quantile(share) for t in tallies]
        axes.plot(levels, values, style, marker=marker, color="black", label=label)
    axes.axhline(0.3, **GOAL)
    axes.annotate("0.3 %", (levels[0], 0.3), fontsize=8, va="bottom")
    axes.set(yscale="log", ylabel="error of measured plateaus, %")
    axes.set_xlabel("signal-to-noise ratio, dB")
    axes.legend()


def _coverage(axes: Any, levels: Sequence[float], tallies: Sequence[Tally]) -> None:
    values = [100.0 * t.covered / t.measured if t.measured else np.nan for t in tallies]
    axes.plot(levels, values, "-o", color="black")
    axes.axhspan(90, 99, color="0.9")
    axes.annotate("goal: 90 to 99 %", (levels[0], 91), fontsize=8)
    axes.set(ylim=(0, 102), xlabel="signal-to-noise ratio, dB")
    axes.set_ylabel("stated 95 % interval covers the truth, %")


def _failures(axes: Any, levels: Sequence[float], tallies: Sequence[Tally]) -> None:
    lines = (
        ("refused (of plateaus held)", [(t.refused, t.held) for t in tallies], "-", "o"),
        ("off by > 2 % (of measured)", [(t.gross, t.measured) for t in tallies], "--", "s"),
        ("wrong multiple (of measured)", [(t.multiples, t.measured) for t in tallies], ":", "^"),
    )
    for label, counts, style, marker in lines:
        values = [100.0 * a / b if b else np.nan for a, b in counts]
        axes.plot(levels, values, style, marker=marker, color="black", label=label)
    axes.set(ylim=(-2, 102), xlabel="signal-to-noise ratio, dB", ylabel="share, %")
    axes.legend()


def _distribution(axes: Any, known: Sequence[Result]) -> None:
    for drive, (label, style, marker) in DRIVE_STYLES.items():
        error = 100.0 * np.abs(tally([r for r in known if r["drive"] == drive]).error)
        if not len(error):
            continue
        error = np.sort(np.maximum(error, 1e-4))
        share = 100.0 * np.arange(1, len(error) + 1) / len(error)
        every = max(len(error) // 8, 1)
        axes.plot(error, share, style, marker=marker, markevery=every, color="black", label=label)
    axes.axvline(0.3, **GOAL)
    axes.set(xscale="log", xlabel="error of a measured plateau, %", ylim=(0, 102))
    axes.set_ylabel("plateaus at most this far off, %")
    axes.legend()
