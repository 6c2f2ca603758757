"""The files of a report: their names decide what they are."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.cli._options import Source
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.report import Document

__all__ = ["check_files", "write_files"]

_PAGE = (".html", ".htm")
_PRINTED = ".pdf"


def check_files(files: Sequence[Path], records: Sequence[Source]) -> None:
    """Refuse what cannot be written, before any work is done.

    Raises
    ------
    UsageError
        A name that tells neither HTML nor PDF, one that is given twice, or a file that must not be replaced.
    """
    from benchsweep.report import check_target

    inputs = [path for path in records if isinstance(path, Path)]
    for place, path in enumerate(files):
        if path.suffix.lower() not in (*_PAGE, _PRINTED):
            raise UsageError(
                f"{path}: a report is written as HTML or as PDF, by its name",
                hint=f"Name it {path.with_suffix('.html').name} or {path.with_suffix(_PRINTED).name}."
                if path.name
                else "Name a file such as report.html or report.pdf.",
            )
        if any(path.absolute() == other.absolute() for other in files[:place]):
            raise UsageError(f"{path} is given twice", hint="Leave one out.")
        check_target(path, inputs)


def write_files(files: Sequence[Path], document: Document) -> list[Path]:
    """Write a report in each form that is asked for and return the paths.

    Raises
    ------
    UsageError
        A file cannot be written.
    """
    from benchsweep.report import write_html, write_pdf

    return [
        write_pdf(path, document) if path.suffix.lower() == _PRINTED else write_html(path, document)
        for path in files
    ]
