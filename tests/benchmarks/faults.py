"""How well each fault is told from healthy units, and how often a healthy unit is accused.

Every recording is a unit of its own with papers at hand.  Its score for a fault is the highest
probability among the findings that name this kind of trouble; "not measurable" and no finding score
nothing.  Faults that shake rather than sound are judged on acceleration logs.
"""

from __future__ import annotations

import warnings
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from spinlab.simulate import Parameters, fits, random_parameters, simulate, with_fault
from spinlab.simulate.parameters import DriveKind
from tests.benchmarks.population import RANGES, dealt, through_a_file
from tests.benchmarks.profiles import from_papers

Result = dict[str, Any]
HEALTHY = "healthy"
SEVERITIES = (0.1, 0.3, 0.6, 1.0)
SNR_DB = (15.0, 5.0, -5.0)
RATE_HZ = 16000
DRIVES: tuple[DriveKind, ...] = ("brushed", "three_phase", "direct")


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
    "motor: position sensor": Sought(kinds=("motor",), words=("sensor",)),
    "motor: brush arcing": Sought(kinds=("motor",), words=("arcing",)),
    "motor: hunting": Sought(kinds=("oscillation",), words=("hunting",)),
    "looseness: counterweight": Sought(
        kinds=("looseness", "imbalance"), words=("loose", "knocking"), felt=True
    ),
    "looseness: feet": Sought(kinds=("looseness",), felt=True),
    "looseness: object in the drum": Sought(kinds=("looseness",)),
}


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One recording of one unit: which fault, how severe, how loud the rest is."""

    fault: str
    number: int
    part: str
    felt: bool

    @property
    def key(self) -> str:
        """Its name in the cache."""
        return f"{self.fault}, {'log' if self.felt else 'sound'} {self.number}"

    @property
    def seed(self) -> list[int]:
        """What fixes everything about it."""
        return [RANGES[self.part][0] + self.number, zlib.crc32(self.fault.encode()), self.felt]

    def deal(self, values: tuple[Any, ...], name: str) -> Any:
        """Its share of `values`, which are dealt out evenly within a fault."""
        return dealt(values, f"{self.fault} {name}", RANGES[self.part][0], self.number)


def parameters_of(unit: Unit) -> tuple[Parameters, float, float | None]:
    """The unit, its fault's severity (0 if healthy), and the signal-to-noise ratio of sound."""
    rng = np.random.default_rng(unit.seed)
    possible = tuple(d for d in DRIVES if unit.fault == HEALTHY or _can_have(unit.fault, d))
    snr = None if unit.felt else unit.deal(SNR_DB, "snr")
    p = random_parameters(
        rng,
        kind="acceleration" if unit.felt else "sound",
        drive=unit.deal(possible, "drive"),
        snr_db=snr,
        rate_hz=RATE_HZ,
    )
    if unit.fault == HEALTHY:
        if p.faults:
            raise RuntimeError(f"a unit drawn as healthy has {p.faults}")
        return p, 0.0, snr
    severity = unit.deal(SEVERITIES, "severity")
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
        analysis = analyse(recording, from_papers(p))
    return {
        "fault": unit.fault,
        "felt": unit.felt,
        "drive": p.drive.kind,
        "severity": severity,
        "snr_db": snr,
        "kept": all(stage.reached for stage in made.truth.stages),
        "scale": analysis.track.scale,
        "findings": [[f.kind, f.subject, f.state, f.probability] for f in analysis.findings],
        "failures": [getattr(failure, "step", "") for failure in getattr(analysis, "failures", ())],
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
    said = [f[3] for f in matching(result, sought) if f[2] != "not measurable" and f[3] is not None]
    return max(said, default=0.0)


def states(result: Result, sought: Sought) -> set[str]:
    """The states of the findings that speak of the trouble."""
    return {finding[2] for finding in matching(result, sought)}


def units(count: int, part: str) -> list[Unit]:
    """Healthy and faulty units: with a count of 200, 500 healthy sounds and 50 of each fault."""
    healthy = [
        Unit(fault=HEALTHY, number=n, part=part, felt=felt)
        for felt, share in ((False, 2.5), (True, 1.5))
        for n in range(max(round(share * count), 1))
    ]
    faulty = [
        Unit(fault=name, number=n, part=part, felt=sought.felt)
        for name, sought in SOUGHT.items()
        for n in range(max(count // 4, 1))
    ]
    return healthy + faulty


def section(options: Any) -> Any:
    """Run and report."""
    from tests.benchmarks.accuracy import Section
    from tests.benchmarks.fault_tables import draw, report
    from tests.benchmarks.runner import run

    results = run(
        f"faults-{options.part}",
        measure,
        units(options.count, options.part),
        folder=options.folder,
        version=options.version,
        workers=options.workers,
    )
    target = options.picture("faults")
    pictures = (draw(results, target),) if target else ()
    return Section(title="Faults and false alarms", text=report(results), pictures=pictures)
