"""Phases of whole service tests: simulated ones against truth, real logs against their README.

    python -m tests.benchmarks.phases [--units N] [--seed N]

Simulated programme: fill, wash motion both ways, drain, spin.  A label counts as found where at
least 70 % of its true time carries it, and as false where it covers more than 5 % of the rest; a
click is false where none is within 0.1 s.  The two directions have times and speeds of their own.
Where one direction is missing the pump draws air for its last 9 s.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from spinlab.findings import programme, pump
from spinlab.phases import PhaseList, cut_phases
from spinlab.phases.pump import PIECE_S
from spinlab.reading import read
from spinlab.simulate import Parameters, Simulated, Step, random_parameters, simulate, spin_test
from spinlab.simulate.programme import command
from tests.benchmarks.simulated import Row, arguments, print_table, true_track
from tests.vibration.signals import SHARED

BURSTS, ON_S, OFF_S = 8, 8.0, 5.0
FILL_S = (3.0, 15.0)
SWING_S = 2.0
DRAIN = "drain before the spin"
LOGS = ("machine_off", "mainwash_and_remove_water", "start_centrif")


def unit(seed: int, *, drain: bool, dead_direction: bool) -> tuple[Parameters, dict[str, list]]:
    """A whole test and where its phases truly are (the spin is taken from the drum's truth)."""
    rng = np.random.default_rng(seed)
    p = random_parameters(rng, drive="brushed", rate_hz=16000, noises=())
    other = np.random.default_rng([seed, 1])
    back_rpm, back_s = -other.uniform(42.0, 58.0), other.uniform(5.0, 9.0)
    steps = [Step(kind="rest", hold_s=20.0)]
    for k in range(BURSTS):
        rpm, hold_s = (50.0, ON_S - 1.5) if k % 2 == 0 else (back_rpm, back_s)
        if dead_direction and rpm < 0:
            steps.append(Step(kind="rest", hold_s=ON_S + OFF_S))
            continue
        steps.append(Step(kind="tumble", rpm=rpm, rise_rpm_per_s=60.0, hold_s=hold_s))
        steps.append(Step(kind="rest", hold_s=OFF_S))
    pump_on = command(steps).duration_s + 6.0
    steps.append(Step(kind="rest", hold_s=30.0))
    spin = spin_test((400.0, 1000.0, 1400.0), hold_s=5.0, rise_rpm_per_s=150.0, coast_s=6.0)
    drains = (pump_on, pump_on + 18.0)
    around = replace(
        p.surroundings,
        fill_db=rng.uniform(-14.0, -4.0),
        fill_on_s=FILL_S,
        pump_db=rng.uniform(-12.0, -2.0) if drain else None,
        pump_on_s=drains,
        pump_air=other.uniform(0.3, 0.7) if dead_direction else 0.0,
        pump_air_from_s=pump_on + 9.0,
        click_db=6.0,
        click_times_s=(2.0, 16.5, pump_on - 2.0),
        room_noise_db=rng.uniform(-45.0, -30.0),
    )
    voice = replace(p.voice, slosh_db=rng.uniform(-16.0, -6.0))
    drive = replace(p.drive, dead_direction=0)
    truth: dict[str, list] = {"fill": [FILL_S], "pump": [drains] if drain else []}
    p = replace(p, programme=(*steps, *spin), surroundings=around, voice=voice, drive=drive)
    return p, truth


def covered(found: PhaseList, label: str, spans: list) -> tuple[float, float]:
    """Share of the true time that carries the label, and share of other time that does too."""
    end = max(phase.end_s for phase in found.phases)
    time = np.arange(0.0, end, 0.1)
    true = np.zeros(len(time), dtype=bool)
    said = np.zeros(len(time), dtype=bool)
    for start, stop in spans:
        true |= (time >= start) & (time < stop)
    for phase in found.of(label):
        said |= (time >= phase.start_s) & (time < phase.end_s)
    hit = float(said[true].mean()) if true.any() else float("nan")
    return hit, float(said[~true].mean())


PROGRAMMES = (
    ("complete", True, False),
    ("no drain before spin", False, False),
    ("one direction missing", True, True),
)


def main() -> None:
    """Print the tables."""
    options = arguments(6)
    real_logs()
    print("\nSimulated service tests (found / units, false / units; clicks found, false in all)")
    print(
        f"{'programme':<24}{'fill':>10}{'pump':>10}{'wash motion':>13}{'spin':>10}"
        f"{'clicks':>12}{'directions':>36}{'no drain said':>15}"
    )
    rows: dict[str, Row] = {}
    pumps = []
    for label, drain, dead in PROGRAMMES:
        tally = Tally(label)
        for seed in range(options.seed, options.seed + options.units):
            tally.add(seed, drain=drain, dead=dead, rows=rows)
        print(tally.line(options.units))
        if drain:
            pumps.append((label, tally.pumps))
    print_table("Wash motion of two directions (errors of times in percent)", rows.values())
    print("\nWhat the pump moves (pieces of 4 s that lie wholly in it)")
    print(f"{'pump':<34}{'pieces':>10}{'water said':>14}{'air said':>14}{'not told':>14}")
    for label, kinds in pumps:
        for truth in sorted({kind for kind, _ in kinds}):
            said = [told for kind, told in kinds if kind == truth]
            cells = [str(said.count(k)) for k in ("pumping water", "drawing air", "not told")]
            name = f"{label}: {truth}"
            print(f"{name:<34}{len(said):>10}" + "".join(f"{cell:>14}" for cell in cells))


class Tally:
    """Counts over the units of one programme."""

    def __init__(self, label: str) -> None:
        """Start at nothing."""
        self.label = label
        self.counts = {name: [0, 0] for name in ("fill", "pump", "wash motion", "spin")}
        self.clicks, self.false_clicks, self.accused = 0, 0, 0
        self.directions: list[str] = []
        self.pumps: list[tuple[str, str]] = []

    def add(self, seed: int, *, drain: bool, dead: bool, rows: dict[str, Row]) -> None:
        """Simulate one unit and count it."""
        p, truth = unit(seed, drain=drain, dead_direction=dead)
        simulated = simulate(p, seed)
        found = cut_phases(simulated.recording, true_track(simulated, slowest_rpm=60.0))
        truth["wash motion"] = bursts(simulated.truth)
        fast = simulated.truth.time_s[simulated.truth.speed_rpm > 150.0]
        coast = [ph.start_s for ph in found.of("coast-down")]
        truth["spin"] = [(float(fast[0]), coast[0] if coast else float(fast[-1]))]
        for name, count in self.counts.items():
            hit, false = covered(found, name, truth[name])
            count[0] += bool(hit > 0.7)
            count[1] += bool(false > 0.05)
        true_clicks = np.array(p.surroundings.click_times_s)
        near = [bool(np.any(np.abs(true_clicks - t) < 0.1)) for t in found.clicks_s]
        self.clicks += sum(any(abs(c - t) < 0.1 for c in found.clicks_s) for t in true_clicks)
        self.false_clicks += near.count(False)
        self.directions.append(found.motion.directions)
        self.accused += any(
            f.state == "attention" and f.subject == DRAIN for f in programme.findings(found)
        )
        self.pumps += pump_pieces(found, p) if drain else []
        if not dead:
            compare_directions(found, simulated, rows)

    def line(self, units: int) -> str:
        """One row of the table."""
        cells = "".join(
            f"{f'{a}/{units}, {b}':>{13 if name == 'wash motion' else 10}}"
            for name, (a, b) in self.counts.items()
        )
        said = ", ".join(f"{d} {self.directions.count(d)}" for d in sorted(set(self.directions)))
        clicks = f"{self.clicks}/{3 * units}, {self.false_clicks}"
        return f"{self.label:<24}{cells}{clicks:>12}{said:>36}{self.accused:>15}"


def pump_pieces(found: PhaseList, p: Parameters) -> list[tuple[str, str]]:
    """What is true and what is said of each piece of the pump that lies wholly in one state."""
    start, end = p.surroundings.pump_on_s
    dry = p.surroundings.pump_air_from_s if p.surroundings.pump_air > 0.0 else end
    said = []
    for finding in programme.findings(found):
        if finding.subject != pump.SUBJECT:
            continue
        for at, told in zip(finding.evidence["pieces_s"], finding.evidence["pieces"], strict=True):
            if start <= at and at + PIECE_S <= dry:
                said.append(("water", told))
            elif dry <= at and at + PIECE_S <= end:
                said.append(("air", told))
    return said


def compare_directions(found: PhaseList, simulated: Simulated, rows: dict[str, Row]) -> None:
    """Times and relative speed of odd and even bursts against the truth's."""
    spans, motion = bursts(simulated.truth), found.motion
    on = [end - start for start, end in spans]
    off = [b[0] - a[1] for a, b in itertools.pairwise(spans)]
    time, speed = simulated.truth.time_s, simulated.truth.speed_rpm
    middle = [
        float(np.mean(speed[(time > start + 2.0) & (time < end - 2.0)])) for start, end in spans
    ]
    relative = float(np.mean(middle[1::2]) / np.mean(middle[::2]))
    for name, estimate, true in (
        ("on time, odd bursts", motion.first_on_s, float(np.mean(on[::2]))),
        ("on time, even bursts", motion.second_on_s, float(np.mean(on[1::2]))),
        ("pause after odd bursts", motion.first_off_s, float(np.mean(off[::2]))),
        ("pause after even bursts", motion.second_off_s, float(np.mean(off[1::2]))),
        ("even over odd speed", motion.second_over_first_speed, relative),
    ):
        row = rows.setdefault(name, Row(name))
        row.units += 1
        row.refused += estimate is None
        if estimate is not None:
            row.compare(estimate, true)


def bursts(truth: object) -> list[tuple[float, float]]:
    """Spans in which the drum tumbles, below 100 rpm and before the spin.

    A drum that swings back as it stops belongs to its burst.
    """
    fast = np.flatnonzero(truth.speed_rpm > 150.0)
    before = slice(0, fast[0] - 1500 if len(fast) else None)
    moving = truth.speed_rpm[before] > 2.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], moving, [False]]).astype(int)))
    spans: list[tuple[float, float]] = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        start, end = truth.time_s[a], truth.time_s[min(b, len(moving)) - 1]
        if spans and start - spans[-1][1] < SWING_S:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return [span for span in spans if span[1] - span[0] > SWING_S]


def real_logs() -> None:
    """Print what is found in the open logs."""
    for name in LOGS:
        path = SHARED / "data/washer_accel" / f"{name}.csv"
        if not path.exists():
            print(f"{name}: not at {path}, skipped")
            continue
        recording = read(path)
        found = cut_phases(recording)
        print(f"\n{name}.csv (times from the first sample)")
        for phase in found.phases:
            lines = ", ".join(f"{line:.1f}" for line in phase.lines_hz[:3])
            start, end = (t - recording.start_s for t in (phase.start_s, phase.end_s))
            print(
                f"  {start:6.1f} - {end:6.1f} s  {phase.label:<24} {phase.confidence:.2f}  {lines}"
            )


if __name__ == "__main__":
    main()
