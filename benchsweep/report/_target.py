"""Where a report may be written: a new file, or in the place of an older page, and nothing else's."""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Iterable
from pathlib import Path

from benchsweep.errors import UsageError

__all__ = ["check_target", "replace_page"]

_START = 1024
_PAGE = (b"<!doctype html", b"<html")
_OURS = b"benchsweep "
_PDF = b"%PDF-"
# Written by `pdf`; a PDF that came from elsewhere does not have it.
_PDF_OURS = b"/Keywords(benchsweep report)"
_ANOTHER = "Name another file after -o, for example report.html."


def check_target(path: Path, inputs: Iterable[Path] = ()) -> None:
    """Refuse to write a report at `path` when that would destroy something; nothing is written or made.

    What exists there is replaced only when it is an HTML page, or empty: never a record, a damaged one, or
    any other file. Where the name ends in ``.pdf``, only a PDF report of ours is replaced, or an empty file.

    Parameters
    ----------
    path
        Where the report is to stand.
    inputs
        Files and folders that are reported; also another spelling of one of them, a link to it, or a file
        within such a folder is refused.

    Raises
    ------
    UsageError
    """
    path = Path(path)
    if not path.name or path.is_dir():
        raise UsageError(
            f"{path}: the report cannot be written: that is a folder",
            hint="Name a file, for example report.html.",
        )
    for one in inputs:
        if _same(path, one) or (one.is_dir() and any(_same(parent, one) for parent in path.parents)):
            raise UsageError(f"{path}: belongs to {one}, which is to be reported", hint=_ANOTHER)
    pdf = path.suffix.lower() == ".pdf"
    what = _what_is_there(path, pdf)
    if what:
        older = "an older PDF report" if pdf else "an older page"
        raise UsageError(
            f"{path}: {what}; a report replaces nothing but {older}",
            hint=_ANOTHER.replace("report.html", "report.pdf") if pdf else _ANOTHER,
        )


def _same(path: Path, other: Path) -> bool:
    try:
        return path.samefile(other)
    except (OSError, ValueError):
        return False


def _what_is_there(path: Path, pdf: bool) -> str:
    """Return in words what must not be replaced; empty when there is nothing."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return "is no ordinary file"
        with path.open("rb") as stream:
            start = stream.read(_START)
            ours = pdf and start.startswith(_PDF) and _PDF_OURS in start + stream.read()
    except FileNotFoundError:
        return "is a link to nothing" if path.is_symlink() else ""
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or type(error).__name__
        # A file as a folder on the way, for example: writing there says what is wrong.
        return "" if isinstance(error, NotADirectoryError) else f"cannot be looked into ({reason})"
    if start.startswith(_OURS):
        return "holds measurements of benchsweep"
    if pdf:
        return "" if ours or not start else "is no PDF report of benchsweep"
    plain = start.removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    return "" if not plain or plain.startswith(_PAGE) else "is no HTML page"


def replace_page(path: Path, text: str | bytes) -> None:
    """Write text (as UTF-8) or bytes as `path`: whoever reads sees the old or the new one, never a half.

    Raises
    ------
    UsageError
        It cannot be written there.
    """
    partial = path.with_name(f".{secrets.token_hex(8)}.partial")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with partial.open("xb") as stream:
                stream.write(text.encode("utf-8") if isinstance(text, str) else text)
                stream.flush()
                os.fsync(stream.fileno())
            partial.replace(path)
        finally:
            partial.unlink(missing_ok=True)
    except OSError as error:
        raise UsageError(
            f"{path}: the report cannot be written: {error.strerror or error}",
            hint="Name a file in a folder in which you may write.",
        ) from error
