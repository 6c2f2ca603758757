"""The reels of a lot as a person names them: a file, names, ranges."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from benchsweep.errors import DataFileError, UsageError

__all__ = ["reels_of"]

_ENDS = re.compile(r"(?P<before>.*?)(?P<digits>[0-9]+)(?P<after>[^0-9]*)", re.DOTALL)
_MOST = 100_000
_LARGEST_FILE = 16_000_000
_SUFFIXES = (".txt", ".csv", ".lst", ".tsv")
_HOW = "Give a file with a name on each line, a name, or a range such as R001..R090; --reels may be repeated."


def reels_of(words: Sequence[str]) -> tuple[str, ...]:
    """Return the names of all reels, in the order given.

    Parameters
    ----------
    words
        Each the path of a text file (UTF-8; a name or a range on each line, lines that begin with ``#`` and
        empty ones say nothing), a range ``R001..R090`` (both ends included, leading zeros kept), or a name.

    Raises
    ------
    UsageError
        No name at all, a range that makes no sense, a name that comes twice, or too many.
    DataFileError
        A file that cannot be read.
    """
    found: dict[str, str] = {}
    for word in words:
        for name, where in _expanded(word):
            if name in found:
                place = where if where == found[name] else f"{found[name]} and {where}"
                raise UsageError(
                    f"reel {name} is given twice: {place}", hint="Each reel of a lot has a name of its own."
                )
            if len(found) == _MOST:
                raise UsageError(f"more than {_MOST} reels", hint="Split the lot, or check the range.")
            found[name] = where
    if not found:
        raise UsageError("the lot has no reels", hint=_HOW)
    return tuple(found)


def _expanded(word: str) -> Iterator[tuple[str, str]]:
    """Yield names and where each comes from."""
    if not word.strip():
        raise UsageError("--reels is empty", hint=_HOW)
    path = Path(word)
    if _is(path, "file"):
        yield from _in_file(path)
        return
    if _is(path, "dir"):
        raise UsageError(f"--reels {word}: that is a folder", hint=_HOW)
    if path.suffix.lower() in _SUFFIXES:
        raise UsageError(f"--reels {word}: there is no such file", hint=_HOW)
    for name in _named(word.strip()):
        yield name, f"--reels {word}"


def _is(path: Path, kind: str) -> bool:
    try:
        return path.is_file() if kind == "file" else path.is_dir()
    except (OSError, ValueError):  # what can be no path is a name
        return False


def _in_file(path: Path) -> Iterator[tuple[str, str]]:
    try:
        with path.open("rb") as stream:
            data = stream.read(_LARGEST_FILE + 1)
    except OSError as error:
        raise DataFileError(f"{path}: cannot be read: {error.strerror or error}") from error
    if len(data) > _LARGEST_FILE:
        raise DataFileError(f"{path}: too large for a list of reels", hint=_HOW)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DataFileError(
            f"{path}: is no text in UTF-8 (byte {error.start})", hint="Save the list of reels as UTF-8."
        ) from error
    for number, line in enumerate(text.splitlines(), start=1):
        name = line.strip()
        if not name or name.startswith("#"):
            continue
        for each in _named(name):
            yield each, f"line {number} of {path}"


def _named(word: str) -> Iterator[str]:
    """Yield a name as it is, or every name of a range."""
    if ".." not in word:
        yield word
        return
    first, _, last = word.partition("..")
    low, high = _ENDS.fullmatch(first.strip()), _ENDS.fullmatch(last.strip())
    if low is None or high is None:
        raise UsageError(f"{word}: no range of reels: both ends must hold a number", hint=_HOW)
    if (low["before"], low["after"]) != (high["before"], high["after"]):
        raise UsageError(
            f"{word}: no range of reels: the ends differ in more than their last number", hint=_HOW
        )
    digits = low["digits"], high["digits"]
    padded = any(each.startswith("0") and len(each) > 1 for each in digits)
    if padded and len(digits[0]) != len(digits[1]):
        raise UsageError(
            f"{word}: no range of reels: {digits[0]} and {digits[1]} have not the same number of digits",
            hint="Write both ends as the labels of the reels have them, for example R001..R090.",
        )
    if max(map(len, digits)) > len(str(10**15)):
        raise UsageError(f"{word}: no range of reels: the number is too long", hint=_HOW)
    begin, end = int(digits[0]), int(digits[1])
    if end < begin:
        raise UsageError(
            f"{word}: no range of reels: it ends before it begins",
            hint=f"Write {last.strip()}..{first.strip()}.",
        )
    if end - begin >= _MOST:
        raise UsageError(f"{word}: {end - begin + 1} reels are too many", hint=f"At most {_MOST}.")
    wide = len(digits[0]) if padded else 0
    for number in range(begin, end + 1):
        yield f"{low['before']}{number:0{wide}d}{low['after']}"
