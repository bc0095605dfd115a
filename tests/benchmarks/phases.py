"""Phases of whole service tests: simulated ones against truth, real logs against their README.

    python -m tests.benchmarks.phases [--units N] [--seed N]

Simulated programme: fill, wash motion both ways, drain, spin.  A label counts as found where at
least 70 % of its true time carries it, and as false where it covers more than 5 % of the rest.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.findings import programme
from spinlab.phases import PhaseList, cut_phases
from spinlab.reading import read
from spinlab.simulate import Parameters, Step, random_parameters, simulate, spin_test
from tests.benchmarks.simulated import arguments, true_track
from tests.vibration.signals import SHARED

BURSTS, ON_S, OFF_S = 8, 8.0, 5.0
FILL_S = (3.0, 15.0)
LOGS = ("machine_off", "mainwash_and_remove_water", "start_centrif")


def unit(seed: int, *, drain: bool, dead_direction: bool) -> tuple[Parameters, dict[str, list]]:
    """A whole test and where its phases truly are (the spin is taken from the drum's truth)."""
    rng = np.random.default_rng(seed)
    p = random_parameters(rng, drive="brushed", rate_hz=16000, noises=())
    steps = [Step(kind="rest", hold_s=20.0)]
    for k in range(BURSTS):
        rpm = 50.0 if k % 2 == 0 else -50.0
        if dead_direction and rpm < 0:
            steps.append(Step(kind="rest", hold_s=ON_S + OFF_S))
            continue
        steps.append(Step(kind="tumble", rpm=rpm, rise_rpm_per_s=60.0, hold_s=ON_S - 1.5))
        steps.append(Step(kind="rest", hold_s=OFF_S))
    steps.append(Step(kind="rest", hold_s=30.0))
    pump_on = 20.0 + BURSTS * (ON_S + OFF_S) + 6.0
    spin = spin_test((400.0, 1000.0, 1400.0), hold_s=5.0, rise_rpm_per_s=150.0, coast_s=6.0)
    pump = (pump_on, pump_on + 18.0)
    around = replace(
        p.surroundings,
        fill_db=rng.uniform(-14.0, -4.0),
        fill_on_s=FILL_S,
        pump_db=rng.uniform(-12.0, -2.0) if drain else None,
        pump_on_s=pump,
        click_db=6.0,
        click_times_s=(2.0, 16.5, pump_on - 2.0),
        room_noise_db=rng.uniform(-45.0, -30.0),
    )
    voice = replace(p.voice, slosh_db=rng.uniform(-16.0, -6.0))
    drive = replace(p.drive, dead_direction=0)
    truth: dict[str, list] = {"fill": [FILL_S], "pump": [pump] if drain else []}
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


def main() -> None:
    """Print the tables."""
    options = arguments(6)
    real_logs()
    print("\nSimulated service tests (found / units, false / units)")
    print(
        f"{'programme':<28}{'fill':>12}{'pump':>12}{'wash motion':>14}{'spin':>12}"
        f"{'clicks':>10}{'directions':>34}{'no drain said':>15}"
    )
    for label, drain, dead in (
        ("complete", True, False),
        ("no drain before spin", False, False),
        ("one direction missing", True, True),
    ):
        counts = {name: [0, 0] for name in ("fill", "pump", "wash motion", "spin")}
        clicks, directions, accused = 0, [], 0
        for seed in range(options.seed, options.seed + options.units):
            p, truth = unit(seed, drain=drain, dead_direction=dead)
            simulated = simulate(p, seed)
            track = true_track(simulated, slowest_rpm=60.0)
            found = cut_phases(simulated.recording, track)
            truth["wash motion"] = bursts(simulated.truth)
            fast = simulated.truth.time_s[simulated.truth.speed_rpm > 150.0]
            coast = [ph.start_s for ph in found.of("coast-down")]
            truth["spin"] = [(float(fast[0]), coast[0] if coast else float(fast[-1]))]
            for name, count in counts.items():
                hit, false = covered(found, name, truth[name])
                count[0] += bool(hit > 0.7)
                count[1] += bool(false > 0.05)
            clicks += sum(
                any(abs(c - t) < 0.1 for c in found.clicks_s) for t in p.surroundings.click_times_s
            )
            directions.append(found.motion.directions)
            said = programme.findings(found)
            accused += any(f.state == "attention" for f in said)
        cells = "".join(
            f"{f'{a}/{options.units}, {b}':>{14 if name == 'wash motion' else 12}}"
            for name, (a, b) in counts.items()
        )
        tally = ", ".join(f"{d} {directions.count(d)}" for d in sorted(set(directions)))
        print(f"{label:<28}{cells}{f'{clicks}/{3 * options.units}':>10}{tally:>34}{accused:>15}")


def bursts(truth: object) -> list[tuple[float, float]]:
    """Spans in which the drum tumbles, below 100 rpm and before the spin."""
    fast = np.flatnonzero(truth.speed_rpm > 150.0)
    before = slice(0, fast[0] - 1500 if len(fast) else None)
    moving = truth.speed_rpm[before] > 5.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], moving, [False]]).astype(int)))
    return [
        (truth.time_s[a], truth.time_s[min(b, len(moving)) - 1])
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]


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
