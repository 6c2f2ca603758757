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
_ANOTHER = "Name another file after -o, for example report.html."


def check_target(path: Path, inputs: Iterable[Path] = ()) -> None:
    """Refuse to write a report at `path` when that would destroy something; nothing is written or made.

    What exists there is replaced only when it is an HTML page, or empty: never a record, a damaged one, or
    any other file.

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
    what = _what_is_there(path)
    if what:
        raise UsageError(f"{path}: {what}; a report replaces nothing but an older page", hint=_ANOTHER)


def _same(path: Path, other: Path) -> bool:
    try:
        return path.samefile(other)
    except (OSError, ValueError):
        return False


def _what_is_there(path: Path) -> str:
    """Return in words what must not be replaced; empty when there is nothing."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return "is no ordinary file"
        with path.open("rb") as stream:
            start = stream.read(_START)
    except FileNotFoundError:
        return "is a link to nothing" if path.is_symlink() else ""
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or type(error).__name__
        # A file as a folder on the way, for example: writing there says what is wrong.
        return "" if isinstance(error, NotADirectoryError) else f"cannot be looked into ({reason})"
    if start.startswith(_OURS):
        return "holds measurements of benchsweep"
    plain = start.removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    return "" if not plain or plain.startswith(_PAGE) else "is no HTML page"


def replace_page(path: Path, text: str) -> None:
    """Write `text` as `path`: whoever reads sees the old page or the new one, never a half.

    Raises
    ------
    UsageError
        It cannot be written there.
    """
    partial = path.with_name(f".{secrets.token_hex(8)}.partial")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with partial.open("x", encoding="utf-8") as stream:
                stream.write(text)
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
