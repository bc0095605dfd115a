"""How well each fault is told from healthy units, and how often a healthy unit is accused.

Every recording is a unit of its own with papers at hand.  Its score for a fault is the highest
probability among the findings that name this kind of trouble; "not measurable" and no finding score
nothing.  A bearing's score is the highest probability of any listed damage, whether or not it makes
a finding.  Faults that shake rather than sound are judged on acceleration logs.

Two modes: "given" judges the detectors alone, on the true speed with the error of a good track;
"whole" runs the whole chain, the speed tracker included.
"""

from __future__ import annotations

import warnings
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from spinlab.finding import Finding
from spinlab.recording import Kind, Recording
from spinlab.simulate import Parameters, Simulated, fits, random_parameters, simulate, with_fault
from spinlab.simulate.parameters import DriveKind
from spinlab.simulate.sampling import Length
from tests.benchmarks.population import RANGES, dealt, through_a_file
from tests.benchmarks.profiles import from_papers
from tests.benchmarks.simulated import realistic_track

Result = dict[str, Any]
Mode = Literal["given", "whole"]
HEALTHY = "healthy"
SEVERITIES = (0.1, 0.3, 0.6, 1.0)
SNR_DB = (15.0, 5.0, -5.0)
# What the goal for bearings is stated for.
MODERATE = 0.5
MODERATE_SNR_DB = 5.0
RATE_HZ = 16000
DRIVES: tuple[DriveKind, ...] = ("brushed", "three_phase", "direct")
# A microphone hears little of a slow drum; a log feels it from a walk's pace on.
SLOWEST_RPM: dict[Kind, float] = {"sound": 200.0, "acceleration": 60.0}
LENGTHS: tuple[Length, ...] = ("short", "usual")


@dataclass(frozen=True, kw_only=True)
class Sought:
    """A fault of the simulator, and which findings would be right about it.

    `kind` and `words` (any of them in the subject) select findings; `felt` says that a log, not
    sound, is judged; `part` is a word that a right finding also names.
    """

    kinds: tuple[str, ...]
    words: tuple[str, ...] = ("",)
    felt: bool = False
    part: str = ""


BEARING = ("bearing",)
# Of loose parts the simulator makes the knocks in the air, none in the log.  An object in the drum
# is left out: it falls below 61 rpm alone, where no detector looks.
KNOCKS = ("looseness", "imbalance")
SOUGHT: dict[str, Sought] = {
    "bearing: rear drum, outer": Sought(kinds=BEARING, part="outer"),
    "bearing: rear drum, inner": Sought(kinds=BEARING, part="inner"),
    "bearing: rear drum, ball": Sought(kinds=BEARING, part="ball"),
    "bearing: rear drum, cage": Sought(kinds=BEARING, part="cage"),
    "bearing: rear drum, grinding": Sought(kinds=BEARING, part="late"),
    "bearing: motor drive end, outer": Sought(kinds=BEARING, part="motor"),
    "imbalance": Sought(kinds=("imbalance",), words=("imbalance",), felt=True),
    "suspension": Sought(kinds=("suspension",), felt=True),
    "belt: slip": Sought(kinds=("belt",), words=("slip",)),
    "belt: damaged place": Sought(kinds=("belt",), words=("damaged",)),
    "motor: lost phase": Sought(kinds=("motor",), words=("phase",), part="lost phase"),
    "motor: position sensor": Sought(kinds=("motor",), words=("position sensor",)),
    "motor: tachometer lost": Sought(kinds=("motor",), words=("speed sensor",)),
    "motor: brush arcing": Sought(kinds=("motor",), words=("arcing",)),
    "motor: hunting": Sought(kinds=("oscillation",), words=("hunting",)),
    "looseness: counterweight": Sought(kinds=KNOCKS, words=("loose", "knocking")),
    "looseness: feet": Sought(kinds=KNOCKS, words=("loose", "knocking")),
}


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One recording of one unit, judged in one mode."""

    fault: str
    number: int
    part: str
    felt: bool
    mode: Mode = "given"
    moderate: bool = False

    @property
    def key(self) -> str:
        """Its name in the cache."""
        kind = "log" if self.felt else "sound"
        middling = "moderate " if self.moderate else ""
        return f"{self.mode}, {middling}{self.fault}, {kind} {self.number}"

    @property
    def seed(self) -> list[int]:
        """What fixes everything about it; both modes meet the same units."""
        first = RANGES[self.part][0] + self.number
        return [first, zlib.crc32(self.fault.encode()), self.felt, *([1] if self.moderate else [])]

    def deal(self, values: tuple[Any, ...], name: str) -> Any:
        """Its share of `values`, which are dealt out evenly within a fault."""
        return dealt(values, f"{self.fault} {name}", RANGES[self.part][0], self.number)


def parameters_of(unit: Unit) -> tuple[Parameters, float, float | None]:
    """The unit, its fault's severity (0 if healthy), and the signal-to-noise ratio of sound."""
    rng = np.random.default_rng(unit.seed)
    possible = tuple(d for d in DRIVES if unit.fault == HEALTHY or _can_have(unit.fault, d))
    snr = None if unit.felt else unit.deal(SNR_DB, "snr")
    if unit.moderate:
        snr = MODERATE_SNR_DB
    p = random_parameters(
        rng,
        kind="acceleration" if unit.felt else "sound",
        drive=unit.deal(possible, "drive"),
        snr_db=snr,
        rate_hz=RATE_HZ,
        length=unit.deal(LENGTHS, "length"),
    )
    if unit.fault == HEALTHY:
        if p.faults:
            raise RuntimeError(f"a unit drawn as healthy has {p.faults}")
        return p, 0.0, snr
    severity = MODERATE if unit.moderate else unit.deal(SEVERITIES, "severity")
    return with_fault(p, unit.fault, severity), severity, snr


def _can_have(fault: str, drive: DriveKind) -> bool:
    return fits(random_parameters(np.random.default_rng(0), drive=drive), fault)


def measure(unit: Unit) -> Result:
    """Everything that the analysis says about one unit."""
    from spinlab import analyse

    p, severity, snr = parameters_of(unit)
    made = simulate(p, np.random.default_rng([*unit.seed, 1]))
    recording = through_a_file(made)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if unit.mode == "given":
            judged = judge_given(made, recording, np.random.default_rng([*unit.seed, 2]))
        else:
            analysis = analyse(recording, from_papers(p))
            judged = _judged(analysis.bearings, recording.kind, analysis.findings)
            judged["scale"] = analysis.track.scale
            judged["failures"] = [failure.step for failure in analysis.failures]
    return {
        "fault": unit.fault,
        "mode": unit.mode,
        "moderate": unit.moderate,
        "felt": unit.felt,
        "drive": p.drive.kind,
        "severity": severity,
        "snr_db": snr,
        "kept": all(stage.reached for stage in made.truth.stages),
        **judged,
    }


def judge_given(made: Simulated, recording: Recording, rng: np.random.Generator) -> Result:
    """The steps after the speed, on the true speed with a good track's error."""
    from spinlab.analysis.conclude import conclude
    from spinlab.analysis.measure import measure as measure_all
    from spinlab.analysis.work import Work
    from spinlab.quality import assess
    from spinlab.stages import stage_table

    machine = from_papers(made.truth.parameters)
    track = realistic_track(made, rng, slowest_rpm=SLOWEST_RPM[recording.kind])
    work = Work(None)
    quality = assess(recording)
    rate_hz = recording.rate_hz if recording.kind == "acceleration" else None
    stages = stage_table(track, machine, log_rate_hz=rate_hz)
    measured = measure_all(work, recording, machine, quality, track)
    findings = conclude(work, measured, machine, quality, track, stages, ())
    judged = _judged(measured.bearings, recording.kind, findings)
    return {**judged, "scale": "absolute", "failures": [failure.step for failure in work.failures]}


def _judged(bearings: Any, kind: Kind, findings: Sequence[Finding]) -> Result:
    from spinlab.findings.bearing_weigh import strongest_probability

    score = 0.0 if bearings is None else strongest_probability(bearings, kind=kind)
    return {
        "bearing": score,
        "findings": [[f.kind, f.subject, f.state, f.probability] for f in findings],
    }


def matching(result: Result, sought: Sought) -> list[list[Any]]:
    """The findings that speak of the sought trouble."""
    return [
        finding
        for finding in result["findings"]
        if finding[0] in sought.kinds and any(word in finding[1].lower() for word in sought.words)
    ]


def score(result: Result, sought: Sought) -> float:
    """The highest probability given to the trouble; 0 where nothing is said."""
    if sought.kinds == BEARING:
        return float(result["bearing"])
    said = [f[3] for f in matching(result, sought) if f[2] != "not measurable" and f[3] is not None]
    return max(said, default=0.0)


def states(result: Result, sought: Sought) -> set[str]:
    """The states of the findings that speak of the trouble."""
    return {finding[2] for finding in matching(result, sought)}


def units(
    *, healthy: int, logs: int, each: int, moderate: int, part: str, mode: Mode
) -> list[Unit]:
    """Healthy sounds and logs, `each` units of every fault, `moderate` of every bearing fault.

    Dealt out in turn, so that a run that stops early has some of everything.
    """
    groups = [
        [Unit(fault=HEALTHY, number=n, part=part, felt=False, mode=mode) for n in range(healthy)],
        [Unit(fault=HEALTHY, number=n, part=part, felt=True, mode=mode) for n in range(logs)],
    ]
    for name, sought in SOUGHT.items():
        groups.append(
            [
                Unit(fault=name, number=n, part=part, felt=sought.felt, mode=mode)
                for n in range(each)
            ]
        )
        if sought.kinds == BEARING:
            groups.append(
                [
                    Unit(fault=name, number=n, part=part, felt=False, mode=mode, moderate=True)
                    for n in range(moderate)
                ]
            )
    placed = [((k + 0.5) / len(group), unit) for group in groups for k, unit in enumerate(group)]
    return [unit for _, unit in sorted(placed, key=lambda pair: pair[0])]


def section(options: Any) -> Any:
    """Run both modes and report: with a count of 200, 500 healthy sounds and 50 of each fault."""
    from tests.benchmarks.accuracy import Section
    from tests.benchmarks.fault_tables import draw, report
    from tests.benchmarks.runner import run

    count, texts, pictures = options.count, [], []
    for mode in get_args(Mode):
        wanted = units(
            healthy=max(round(2.5 * count), 1),
            logs=max(round(1.5 * count), 1),
            each=max(count // 4, 1),
            moderate=max(count // 4, 1),
            part=options.part,
            mode=mode,
        )
        results = run(
            f"faults-{mode}-{options.part}",
            measure,
            wanted,
            folder=options.folder,
            version=options.version,
            workers=options.workers,
        )
        texts.append(f"### Speed {mode}\n\n{report(results)}")
        target = options.picture(f"faults-{mode}")
        pictures += [draw(results, target)] if target else []
    return Section(
        title="Faults and false alarms", text="\n\n".join(texts), pictures=tuple(pictures)
    )
