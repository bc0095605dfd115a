"""The recordings that the accuracy tables are made of: drawn at random, but evenly.

Drive, signal-to-noise ratio, codec, sample rate and length of programme are each dealt out in
equal shares and shuffled apart from each other, so that a small count still meets every value;
everything else (motor, levels, hum, pump, fan, speech, babble, reverberation, the phone's own
processing) is drawn by the simulator's own sampler.  A case is fixed by the range and its number
alone: a longer run holds every case of a shorter one.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

import numpy as np

from spinlab.recording import Recording
from spinlab.simulate import Parameters, Simulated, random_parameters, simulate, write_simulated
from spinlab.simulate.parameters import Codec, DriveKind
from spinlab.simulate.sampling import Length

# Seeds below 1000 served to tune; the reported ones start far above, and the two never meet.
RANGES = {"tuning": (0, 1_000), "report": (1_000_000, 2_000_000)}
SNR_DB = (20.0, 15.0, 10.0, 5.0, 0.0, -5.0)
DRIVES = ("brushed", "three_phase", "direct")
CODECS = ("none", "aac", "opus", "mp3")
RATES_HZ = (16000, 44100, 48000)
LENGTHS = ("usual", "usual", "short")
OPUS_RATES_HZ = (16000, 48000)  # the only ones of the above that this codec takes
LONGEST_S = 70.0
INTERFERENCE = ("hum", "pump", "fan", "speech", "babble", "handling", "slam")


@dataclass(frozen=True, kw_only=True)
class Case:
    """One recording to be made: what was dealt, and the seed that fixes the rest.

    A log has no signal-to-noise ratio and no codec, and its rate is drawn by the sampler.
    """

    number: int
    seed: int
    drive: DriveKind
    length: Length
    snr_db: float | None = None
    codec: Codec = "none"
    rate_hz: int = 0
    kind: Literal["sound", "acceleration"] = "sound"

    @property
    def key(self) -> str:
        """Its name in the cache."""
        return f"{'log ' if self.kind == 'acceleration' else ''}{self.seed}"


def dealt(values: tuple[Any, ...], name: str, first_seed: int, number: int) -> Any:
    """The value that case `number` gets of `values`: shuffled packs, one after the other."""
    pack, place = divmod(number, len(values))
    rng = np.random.default_rng([first_seed, zlib.crc32(name.encode()), pack])
    return values[int(rng.permutation(len(values))[place])]


def draw_case(number: int, part: str = "report") -> Case:
    """Case `number` of a range."""
    first, stop = RANGES[part]
    if not 0 <= number < stop - first:
        raise ValueError(f"the {part} range holds {stop - first} cases")
    codec = dealt(CODECS, "codec", first, number)
    rates = OPUS_RATES_HZ if codec == "opus" else RATES_HZ
    return Case(
        number=number,
        seed=first + number,
        drive=dealt(DRIVES, "drive", first, number),
        snr_db=dealt(SNR_DB, "snr", first, number),
        codec=codec,
        rate_hz=dealt(rates, "rate", first, number),
        length=dealt(LENGTHS, "length", first, number),
    )


def draw_cases(count: int, part: str = "report", *, begin: int = 0) -> list[Case]:
    """The cases of a range from `begin` on."""
    return [draw_case(number, part) for number in range(begin, begin + count)]


def draw_logs(count: int, part: str = "report", *, begin: int = 0) -> list[Case]:
    """Acceleration logs of a range from `begin` on: other units than those that are heard."""
    first, stop = RANGES[part]
    if begin + count > stop - first:
        raise ValueError(f"the {part} range holds {stop - first} logs")
    return [
        Case(
            number=number,
            seed=first + number,
            drive=dealt(DRIVES, "log drive", first, number),
            length=dealt(LENGTHS, "log length", first, number),
            kind="acceleration",
        )
        for number in range(begin, begin + count)
    ]


def parameters_of(case: Case) -> Parameters:
    """Everything about the machine, the room and the phone of a case."""
    if case.kind == "acceleration":
        rng = np.random.default_rng([case.seed, zlib.crc32(b"log")])
        felt = random_parameters(rng, kind=case.kind, drive=case.drive, length=case.length)
        logger = replace(felt.logger, duration_s=LONGEST_S)
        return replace(felt, name=f"log {case.seed}", logger=logger)
    p = random_parameters(
        np.random.default_rng(case.seed),
        drive=case.drive,
        snr_db=case.snr_db,
        rate_hz=case.rate_hz,
        codec=case.codec,
        length=case.length,
    )
    return replace(p, name=f"case {case.seed}", phone=replace(p.phone, duration_s=LONGEST_S))


def make(case: Case) -> Simulated:
    """Simulate a case."""
    return simulate(parameters_of(case), case.seed)


def through_a_file(made: Simulated) -> Recording:
    """The recording as the reader makes it of the file that a user would hand in."""
    from spinlab.reading import read

    with TemporaryDirectory() as folder:
        path, _ = write_simulated(made, Path(folder), "case")
        return read(path)


def interference_of(p: Parameters) -> list[str]:
    """Which noises beside the machine are there at all."""
    return [name for name in INTERFERENCE if getattr(p.surroundings, f"{name}_db") is not None]


def describe(case: Case, p: Parameters) -> dict[str, Any]:
    """What the tables group by."""
    return {
        "seed": case.seed,
        "kind": case.kind,
        "drive": case.drive,
        "snr_db": case.snr_db,
        "codec": case.codec,
        "rate_hz": case.rate_hz or p.logger.rate_hz,
        "placement": p.logger.placement,
        "gaps": p.logger.gaps,
        "interference": interference_of(p),
        "processing": p.phone.automatic_gain > 0.0 or p.phone.noise_suppression > 0.0,
        "reverberation_s": round(p.room.reverberation_s, 3),
        "motor_db": round(p.voice.motor_db, 1),
        "drum_orders_db": round(p.voice.drum_orders_db, 1),
        "index": round(max(band.index for band in p.voice.bands), 3),
    }
