"""Shares with their intervals, and the columns of the speed table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.benchmarks.population import INTERFERENCE, SNR_DB
from tests.benchmarks.scoring import CLOSE, GROSS

Result = dict[str, Any]
Member = Callable[[Result], bool]
HEADER = (
    "group",
    "files",
    "held",
    "measured",
    "refused",
    "<= 0.3 %",
    "median",
    "95th pct.",
    "covered",
    "> 2 % off",
    "multiple",
)
LEGEND = (
    "held: plateaus that the drum really held for 1.5 s or more; measured: plateaus to which the "
    "tracker gives a speed; refused: held ones without one. Of those measured: share within 0.3 % "
    "of the truth, median and 95th percentile of the error's size, share of stated 95 % intervals "
    "that cover the truth, share off by more than 2 %, and share off by a simple fraction or the "
    "motor's ratio."
)


DRIVE_NAMES = {
    "brushed": "brushed, belt",
    "three_phase": "three-phase, belt",
    "direct": "direct drive",
}
NAMES: dict[str, dict[Any, str]] = {
    "drive": DRIVE_NAMES,
    "codec": {"none": "no codec", "aac": "AAC", "opus": "Opus", "mp3": "MP3"},
    "rate_hz": {16000: "16 kHz", 44100: "44.1 kHz", 48000: "48 kHz"},
}
PLACEMENTS = ("lid", "side", "front")


def interval(part: int, whole: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share (Clopper and Pearson, Biometrika 26, 1934)."""
    from scipy.stats import beta

    if whole == 0:
        return 0.0, 1.0
    tail = (1.0 - level) / 2.0
    low = 0.0 if part == 0 else float(beta.ppf(tail, part, whole - part + 1))
    high = 1.0 if part == whole else float(beta.ppf(1.0 - tail, part + 1, whole - part))
    return low, high


@dataclass(frozen=True, kw_only=True, eq=False)
class Tally:
    """Counts over some recordings; `error` is relative, one per measured plateau."""

    recordings: int
    failed: int
    held: int
    refused: int
    error: np.ndarray
    covered: int
    multiples: int
    gross_recordings: int

    @property
    def measured(self) -> int:
        """Plateaus called measured."""
        return len(self.error)

    @property
    def close(self) -> int:
        """Measured plateaus within 0.3 % of the truth."""
        return int((np.abs(self.error) <= CLOSE).sum())

    @property
    def gross(self) -> int:
        """Measured plateaus more than 2 % off."""
        return int((np.abs(self.error) > GROSS).sum())

    def quantile(self, share: float) -> float:
        """Quantile of the absolute relative error."""
        return float(np.quantile(np.abs(self.error), share)) if self.measured else float("nan")


def tally(results: Sequence[Result]) -> Tally:
    """Add results up; a recording that failed with an error counts as nothing measured."""
    good = [r for r in results if "error" not in r]
    plateaus = [p for r in good for p in r["plateaus"]]
    return Tally(
        recordings=len(results),
        failed=len(results) - len(good),
        held=sum(r["held"] for r in good),
        refused=sum(r["refused"] for r in good),
        error=np.array([p["error"] for p in plateaus]),
        covered=sum(p["covered"] for p in plateaus),
        multiples=sum(p["multiple"] for p in plateaus),
        gross_recordings=sum(any(abs(p["error"]) > GROSS for p in r["plateaus"]) for r in good),
    )


def percent(part: float, whole: float, digits: int = 1) -> str:
    """A share as text, "-" where nothing was counted."""
    return f"{100.0 * part / whole:.{digits}f} %" if whole else "-"


def row(label: str, results: Sequence[Result]) -> tuple[str, ...]:
    """One row of the speed table."""
    t = tally(results)
    none = not t.measured
    return (
        label,
        str(t.recordings),
        str(t.held),
        str(t.measured),
        percent(t.refused, t.held),
        percent(t.close, t.measured),
        "-" if none else f"{100.0 * t.quantile(0.5):.3f} %",
        "-" if none else f"{100.0 * t.quantile(0.95):.3f} %",
        percent(t.covered, t.measured),
        percent(t.gross, t.measured),
        percent(t.multiples, t.measured),
    )


def equals(key: str, value: Any) -> Member:
    """Membership of the results whose entry `key` has a value."""
    return lambda result: bool(result[key] == value)


def with_noise(name: str) -> Member:
    """Membership of the results in which a noise is heard."""
    return lambda result: name in result["interference"]


def groups() -> list[tuple[str, Member]]:
    """Name and membership of every row, in order."""
    listed: list[tuple[str, Member]] = [("all", lambda r: True)]
    listed += [(f"{v:+.0f} dB" if v else "0 dB", equals("snr_db", v)) for v in SNR_DB]
    for key, names in NAMES.items():
        listed += [(text, equals(key, value)) for value, text in names.items()]
    listed += [(f"with {name}", with_noise(name)) for name in INTERFERENCE]
    listed += [
        ("room noise only", lambda r: not r["interference"]),
        ("phone alters the sound", lambda r: bool(r["processing"])),
        ("reverberation over 0.6 s", lambda r: bool(r["reverberation_s"] > 0.6)),
        ("0 dB and above", lambda r: bool(r["snr_db"] >= 0)),
    ]
    return listed


def speed_rows(results: Sequence[Result]) -> list[tuple[str, ...]]:
    """The whole table."""
    return [row(name, [r for r in results if fits(r)]) for name, fits in groups()]


def log_rows(results: Sequence[Result]) -> list[tuple[str, ...]]:
    """The table of acceleration logs."""
    listed: list[tuple[str, Member]] = [
        ("all", lambda r: True),
        ("below 100 Hz", lambda r: bool(r["rate_hz"] < 100.0)),
        ("100 to 125 Hz", lambda r: bool(100.0 <= r["rate_hz"] <= 125.0)),
        ("200 Hz and above", lambda r: bool(r["rate_hz"] >= 200.0)),
        ("with gaps", lambda r: bool(r["gaps"])),
    ]
    listed += [(f"on the {place}", equals("placement", place)) for place in PLACEMENTS]
    listed += [(text, equals("drive", value)) for value, text in DRIVE_NAMES.items()]
    return [row(name, [r for r in results if fits(r)]) for name, fits in listed]


def markdown(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A Markdown table, aligned so that it reads as plain text too."""
    table = [list(header), *[list(line) for line in rows]]
    width = [max(len(line[k]) for line in table) for k in range(len(header))]
    lines = [
        "| "
        + " | ".join(
            cell.ljust(w) if k == 0 else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(line, width, strict=True))
        )
        + " |"
        for line in table
    ]
    rule = "|".join("-" * (w + 2) if k == 0 else "-" * (w + 1) + ":" for k, w in enumerate(width))
    return "\n".join([lines[0], f"|{rule}|", *lines[1:]])
