"""From a TOML profile to a `Machine`, or to one sentence that says what to mend.

The generic profiles that ship are put together from one text per drive and one per programme,
so that each fact about a drive stands once; `profile_text` returns the whole as TOML that
loads back.
"""

from __future__ import annotations

import difflib
import json
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

from spinlab.errors import InvalidMachine
from spinlab.machine.value import Machine
from spinlab.phrase import say

# Belt drives have ratios of 8:1 to 13:1 (read in IEEE 6063790); the middle and the half width.
GENERIC_BELT_RATIO = 10.5
GENERIC_BELT_RATIO_TOLERANCE_PERCENT = 23.81

LARGEST_PROFILE_BYTES = 256 * 1024
_DRIVES = ("belt-brushed", "belt-three-phase", "direct-drive")
_RATED_RPM = (1000, 1200, 1400, 1600)


def shipped() -> tuple[str, ...]:
    """Names of the generic profiles that come with spinlab."""
    return tuple(f"{drive}-{rpm}" for drive in _DRIVES for rpm in _RATED_RPM)


def profile_text(name: str) -> str:
    """The TOML text of a shipped profile, comments included, to start one's own from.

    Raises:
        InvalidMachine: no profile of that name ships.
    """
    if name not in shipped():
        raise InvalidMachine(_unknown_name(name))
    drive, _, rpm = name.rpartition("-")
    room = resources.files("spinlab.machine") / "profiles"
    text = (room / f"{drive}.toml").read_text(encoding="utf-8")
    programme = (room / f"programme-{rpm}.toml").read_text(encoding="utf-8")
    return text.replace("@NAME@", name).replace("@RPM@", rpm).replace("@PROGRAMME@", programme)


def load_machine(name_or_path: str | Path) -> Machine:
    """Load a machine profile.

    Args:
        name_or_path: the name of a shipped profile, or the path of a TOML file.

    Returns:
        The checked profile.

    Raises:
        InvalidMachine: no such profile, no readable TOML, or a key that is unknown, missing,
            of the wrong kind or out of bounds; the message names file, key and what is allowed.

    >>> load_machine("belt-brushed-1400").rated_maximum_rpm
    1400.0
    """
    name = str(name_or_path)
    if name in shipped():
        return _from_toml(profile_text(name), name)
    return _from_toml(_read_profile(name), Path(name).name)


def _read_profile(name: str) -> str:
    path = Path(name)
    try:
        if not path.exists():
            raise InvalidMachine(_unknown_name(name))
        if not path.is_file():
            raise InvalidMachine(
                say("{name}: not a file; give the path of a TOML profile.", name=name)
            )
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_PROFILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InvalidMachine(
            say("{name!r}: the profile cannot be read ({reason}).", name=name, reason=reason)
        ) from error
    if len(raw) > LARGEST_PROFILE_BYTES:
        raise InvalidMachine(
            say(
                "{name}: larger than {value} KiB, so not a machine profile; start from "
                "`spinlab machines NAME`.",
                name=path.name,
                value=LARGEST_PROFILE_BYTES // 1024,
            )
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InvalidMachine(
            say("{name}: not UTF-8 text, so not a TOML profile; save it as UTF-8.", name=path.name)
        ) from error


def _from_toml(text: str, file: str) -> Machine:
    try:
        data = tomllib.loads(text)
    except RecursionError as error:
        raise InvalidMachine(
            say("{file}: nested too deeply for a machine profile.", file=file)
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise InvalidMachine(
            say("{file}: not valid TOML: {error}.", file=file, error=error)
        ) from error
    except ValueError as error:
        raise InvalidMachine(
            say("{file}: a number in it has thousands of digits.", file=file)
        ) from error
    _fill_from_drive(data)
    return _validate(data, file)


def _fill_from_drive(data: dict[str, Any]) -> None:
    """What the kind of drive decides need not be written down."""
    if "drum_to_motor_ratio" in data:
        return
    if data.get("drive") == "direct":
        data["drum_to_motor_ratio"] = 1.0
    elif data.get("drive") == "belt":
        data["drum_to_motor_ratio"] = GENERIC_BELT_RATIO
        data.setdefault(
            "drum_to_motor_ratio_tolerance_percent", GENERIC_BELT_RATIO_TOLERANCE_PERCENT
        )


def _validate(data: dict[str, Any], file: str) -> Machine:
    from pydantic import TypeAdapter, ValidationError

    from spinlab.machine.explain import explain

    try:
        # JSON in strict mode: arrays become tuples, but "12" or true never become a number.
        return TypeAdapter(Machine).validate_json(json.dumps(data, default=str), strict=True)
    except ValidationError as error:
        raise InvalidMachine(explain(error, data, file)) from error
    except RecursionError as error:
        raise InvalidMachine(
            say("{file}: nested too deeply for a machine profile.", file=file)
        ) from error


def _unknown_name(name: str) -> str:
    close = difflib.get_close_matches(name, shipped(), n=1, cutoff=0.6)
    return say(
        "{name!r} is neither a shipped machine profile nor a file; {hint}`spinlab machines` lists "
        "the shipped ones.",
        name=name,
        hint=say("did you mean {close}? ", close=close[0]) if close else "",
    )
