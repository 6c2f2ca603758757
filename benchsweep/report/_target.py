"""Where a report may be written: a new file, or in the place of an older page, and nothing else's."""

from __future__ import annotations

import errno
import os
import re
import secrets
import stat
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from benchsweep.errors import UsageError

__all__ = ["check_target", "replace_page"]

_START = 1024
_OURS = b"benchsweep "
# How each page of ours begins (`html/page.html.j2`). One that quotes the mark further down is not ours.
_PAGE = re.compile(
    rb'<!doctype html>\s*<html lang="[^"<>]*" dir="[a-z]{3}">\s*<head>\s*<meta charset="utf-8">\s*'
    rb'<meta name="generator" content="benchsweep">'
)
# The end of a PDF: where its table of objects stands, and which object tells what the file says of itself
# (ISO 32000-1:2008, 7.5.4, 7.5.5 and 14.3.3).
_PDF_TAIL = 4096
_PDF_END = re.compile(
    rb"trailer\s*<<[^<>]*?/Info\s+(\d{1,9})\s+0\s+R[^\0]*?startxref\s+(\d{1,12})\s+%%EOF\s*\Z"
)
_PDF_TABLE = re.compile(rb"xref\s*\n0 \d+\s*\n")
_PDF_ENTRY = 20
# Written by `pdf`; a PDF that came from elsewhere does not have it there.
_PDF_OURS = b"/Keywords(benchsweep report)"
_DISC_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_FREE_SPACE = "Free some space, or name a file on another disc; what was there before is unchanged."
_ANOTHER = "Name another file after -o, for example report.html."


def check_target(path: Path, inputs: Iterable[Path] = ()) -> None:
    """Refuse to write a report at `path` when that would destroy something; nothing is written or made.

    What exists there is replaced only when it is a report of ours of the same form (its head says so), or
    empty: never a record, a page that somebody wrote, a link, or any other file.

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
        raise UsageError(
            f"{path}: {what}; a report replaces nothing but an older report",
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
        kind = path.lstat().st_mode
        if stat.S_ISLNK(kind):
            return "is a link" if path.exists() else "is a link to nothing"
        if not stat.S_ISREG(kind):
            return "is no ordinary file"
        with path.open("rb") as stream:
            start = stream.read(_START)
            ours = _is_our_pdf(stream) if pdf else _PAGE.match(start) is not None
    except FileNotFoundError:
        return ""
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or type(error).__name__
        # A file as a folder on the way, for example: writing there says what is wrong.
        return "" if isinstance(error, NotADirectoryError) else f"cannot be looked into ({reason})"
    if start.startswith(_OURS):
        return "holds measurements of benchsweep"
    if ours or not start:
        return ""
    return f"is no {'PDF' if pdf else 'HTML'} report of benchsweep"


def _is_our_pdf(stream: BinaryIO) -> bool:
    """Return whether the object in which a PDF tells of itself has our keyword; text in it does not count."""
    size = stream.seek(0, os.SEEK_END)
    stream.seek(max(0, size - _PDF_TAIL))
    found = _PDF_END.search(stream.read())
    if found is None:
        return False
    number, table = int(found[1]), int(found[2])
    stream.seek(table)
    head = _PDF_TABLE.match(stream.read(64))
    if head is None:
        return False
    stream.seek(table + head.end() + _PDF_ENTRY * number)
    entry = stream.read(10)
    if not entry.isdigit():
        return False
    stream.seek(int(entry))
    told = stream.read(_PDF_TAIL).partition(b"endobj")[0]
    return re.match(rb"%d 0 obj\s*<<" % number, told) is not None and _PDF_OURS in told


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
            hint=_FREE_SPACE
            if error.errno in _DISC_FULL
            else "Name a file in a folder in which you may write.",
        ) from error
