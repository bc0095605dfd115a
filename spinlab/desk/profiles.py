"""Machine profiles that a job may name: those that ship, and the operator's own in `profiles/`."""

from __future__ import annotations

from spinlab.desk.vault import Vault
from spinlab.errors import InputError
from spinlab.machine import shipped


def profile_names(vault: Vault) -> tuple[str, ...]:
    """Every profile on offer, the operator's own first."""
    own = sorted(path.stem for path in (vault.folder / "profiles").glob("*.toml"))
    return (*own, *(name for name in shipped() if name not in own))


def profile_source(vault: Vault, name: str) -> str:
    """What `load_machine` takes for a profile on offer; empty for none.

    A name from outside is only ever compared, never made a path.

    Raises:
        InputError: no such profile is on offer any more.
    """
    if not name:
        return ""
    for path in (vault.folder / "profiles").glob("*.toml"):
        if path.stem == name:
            return str(path)
    if name in shipped():
        return name
    raise InputError("The machine profile of this job is no longer on offer; hand it in anew.")
