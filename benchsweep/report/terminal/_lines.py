"""Lines of text within the columns of a terminal."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator

from benchsweep.report.document import clean

__all__ = ["NARROWEST", "columns", "entry", "labelled_table", "padded", "plain_times", "unparted", "wrapped"]

NARROWEST = 40
"""So many columns a table takes at least."""

_LABEL = 13
_JOINERS = "\u200c\u200d"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:dBm?|ns|[kMG]?Hz|ohm|m|s|points)\b|%)")
_HARD_SPACE = "\u00a0"
_UTC_TIME = re.compile(r"\b(\d{4}-\d\d-\d\d)T(\d\d:\d\d:\d\d)(?:\.\d+)?(?:Z|\+00:00)")


def _width(char: str) -> int:
    if unicodedata.combining(char) or char in _JOINERS:
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def columns(text: str) -> int:
    """Return how many columns of a terminal `text` takes."""
    return sum(map(_width, text))


def padded(text: str, width: int) -> str:
    """Return `text` with spaces behind it up to so many columns."""
    return text + " " * max(width - columns(text), 0)


def plain_times(text: str) -> str:
    """Return `text` with its times in UTC to the second.

    Examples
    --------
    >>> plain_times("bench record of 2026-11-28T15:06:46.841+00:00")
    'bench record of 2026-11-28 15:06:46 UTC'
    """
    return _UTC_TIME.sub(r"\1 \2 UTC", text)


def unparted(text: str) -> str:
    """Return `text` cleaned, each number tied to its unit by a space at which no line is broken."""
    return _BEFORE_UNIT.sub(_HARD_SPACE, clean(text))


def wrapped(text: str, width: int) -> list[str]:
    """Break `text` into lines of at most `width` columns, at spaces where there are any.

    A number and its unit stay on one line.
    """
    lines, line = [], ""
    for word in re.findall("[^ ]+", unparted(text)) or [""]:
        for piece in _pieces(word, width):
            joined = f"{line} {piece}" if line else piece
            if columns(joined) <= width:
                line = joined
            else:
                lines.append(line)
                line = piece
    return [told.replace(_HARD_SPACE, " ") for told in (*lines, line)]


def _pieces(word: str, width: int) -> Iterator[str]:
    piece = ""
    for char in word:
        if piece and columns(piece + char) > width:
            yield piece
            piece = ""
        piece += char
    yield piece


def labelled_table(entries: Iterable[tuple[str, Iterable[str]]], *, width: int = 80) -> str:
    """Return lines below labels, as in `measurement_table`; labels without a text are left out."""
    width = max(width, NARROWEST)
    lines = [line.rstrip() for label, texts in entries for line in entry(label, texts, width)]
    return "\n".join(lines)


def entry(label: str, texts: Iterable[str], width: int) -> list[str]:
    """Return lines ``label   text``; none when there is no text."""
    lines = [line for text in texts if text for line in wrapped(text, width - _LABEL)]
    heads = [label.ljust(_LABEL)] + [" " * _LABEL] * (len(lines) - 1)
    return [f"{head}{line}" for head, line in zip(heads, lines, strict=False)]
