"""The folder that a batch writes to.

OUT/index.html      the page to open
OUT/results.csv     the same for a spreadsheet
OUT/results/ab/     one JSON a recording, named by the hash of its content and, after a dash,
                    of the conditions that it was judged under
OUT/pages/ab/       one page a recording, if asked for
OUT/profiles/       the profiles used, as they were
OUT/batch.sqlite    what is finished
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from spinlab.batch import ledger
from spinlab.batch.summary import Summary, summarise
from spinlab.errors import OutputError, printable

INDEX, TABLE, PROFILES = "index.html", "results.csv", "profiles"
_CONDITIONS_DIGITS = 12


class BatchFolder:
    """Names of everything in it."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def prepare(self) -> None:
        """Make it, unless something else lives there.

        Raises:
            OutputError: it cannot be made, or holds files of other origin under our names.
        """
        name = printable(self.root)
        try:
            self.root.mkdir(parents=True, exist_ok=True)
            ours = (self.root / ledger.FILE).exists()
            foreign = [n for n in (INDEX, TABLE) if not ours and (self.root / n).exists()]
        except OSError as error:
            raise OutputError(f"The folder {name} cannot be made: {error.strerror}.") from error
        if foreign and not (self.root / "results").is_dir():
            raise OutputError(
                f"{name} holds a {foreign[0]} that no batch made; name an empty folder."
            )

    def sweep(self) -> None:
        """Clear away what a killed batch left unfinished; the lock must be held."""
        for part in self.root.rglob(".spinlab-*.part"):
            part.unlink(missing_ok=True)

    def result(self, key: str) -> Path:
        """Where a result goes."""
        return self.root / "results" / key[:2] / f"{key}.json"

    def page(self, key: str) -> Path:
        """Where a page goes."""
        return self.root / "pages" / key[:2] / f"{key}.html"

    def recovered(self, key: str) -> Summary | None:
        """The summary of a result that is there although the ledger does not know of it."""
        try:
            return summarise(json.loads(self.result(key).read_bytes()))
        except (OSError, ValueError, KeyError, TypeError):
            return None


def key_of(sha256: str, *, profile: str | None, examine: str) -> str:
    """Name of a piece of work: the same content under the same conditions is the same work.

    Args:
        sha256: of the recording's content.
        profile: digest of the machine profile, or None.
        examine: the function that does the work.
    """
    conditions = json.dumps([profile, examine]).encode("utf-8")
    return f"{sha256}-{hashlib.sha256(conditions).hexdigest()[:_CONDITIONS_DIGITS]}"
