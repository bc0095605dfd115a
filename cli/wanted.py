"""The results that a command is asked to write: checked before the work, written after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinlab.report.language import tell

if TYPE_CHECKING:
    from spinlab.analysis import Analysis

    from .progress import Progress

STANDARD_OUTPUT = Path("-")


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Where each result goes; None where it is not wanted."""

    json_file: Path | None = None
    page_file: Path | None = None
    picture_file: Path | None = None
    export_folder: Path | None = None
    language: str = "en"

    @property
    def files(self) -> list[Path]:
        """The single files among the results."""
        every = (self.json_file, self.page_file, self.picture_file)
        return [path for path in every if path is not None]

    def check(self, *, never: Sequence[Path]) -> None:
        """Refuse what cannot be meant or cannot be written, before any work is done.

        Args:
            never: files that must not be written to, such as the recording.
        """
        from spinlab.report.output import check_writable

        self._check_names()
        targets = [path for path in self.files if path != STANDARD_OUTPUT]
        if self.export_folder is not None:
            existing = self.export_folder
            while not existing.exists() and existing != existing.parent:
                existing = existing.parent
            targets.append(existing / "result.json" if existing.is_dir() else existing)
        check_writable(targets, never=never)

    def _check_names(self) -> None:
        from spinlab.report.pictures import PICTURE_FORMATS

        picture = self.picture_file
        if picture is not None and picture.suffix.lower()[1:] not in PICTURE_FORMATS:
            endings = ", ".join(f".{name}" for name in PICTURE_FORMATS)
            raise click.BadParameter(
                tell(
                    "{picture!r} must end in one of {endings}.",
                    picture=str(picture),
                    endings=endings,
                ),
                param_hint="--picture",
            )
        if len({path.absolute() for path in self.files}) < len(self.files):
            raise click.UsageError(
                tell("Two results cannot go to the same file; name one for each.")
            )

    def write(self, analysis: Analysis, progress: Progress) -> None:
        """Make every result first, then write them: a failure leaves no half set behind."""
        from spinlab.report.output import write_whole

        made = self._made(analysis, progress)
        if self.export_folder is not None:
            progress("Writing tables, pictures and sounds", 0.0)
            from spinlab.report.export import write_export

            write_export(analysis, self.export_folder, language=self.language)
        for path, content in made:
            if path == STANDARD_OUTPUT:
                click.echo(content.decode("utf-8"), nl=False)
            else:
                write_whole(path, content)

    def _made(self, analysis: Analysis, progress: Progress) -> list[tuple[Path, bytes]]:
        made: list[tuple[Path, bytes]] = []
        if self.json_file is not None:
            from spinlab.report.json_output import json_text

            made.append((self.json_file, json_text(analysis).encode("utf-8")))
        if self.picture_file is not None:
            progress("Drawing the picture", 0.0)
            from spinlab.report.pictures import picture_of

            ending = self.picture_file.suffix.lower()[1:]
            content = picture_of(analysis, ending, language=self.language)
            made.append((self.picture_file, content))
        if self.page_file is not None:
            progress("Making the page", 0.0)
            from spinlab.report.page import page_html

            page = page_html(analysis, language=self.language)
            made.append((self.page_file, page.encode("utf-8")))
        return made
