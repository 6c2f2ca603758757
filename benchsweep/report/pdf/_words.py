"""Lines of a document as a PDF can print them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from benchsweep.report.document import Line, Link, Piece, Strong, clean

__all__ = ["BREAK", "Typesetter", "longest_word", "shortened"]

BREAK = "\u200b"
"""Where a line may end; it is not seen."""

_HARD_SPACE = "\u00a0"
# Text that runs from right to left turns what stands around it unless it is set apart.
_TURNING = {"R", "AL", "AN"}
_ISOLATE, _END_ISOLATE = "\u2068", "\u2069"

_LONG = 16
_SPACES = re.compile(rf"[ {BREAK}]+")
# Names of files, addresses, tags: words of parts, none of which is a word of a language.
_BETWEEN_PARTS = re.compile(r"(?<=[/\\_.:=@,;|+])(?=[^\W_]{2})")
_TOO_LONG = re.compile(r"[^\s\u200b-]{25,}")


@dataclass(frozen=True, slots=True)
class Typesetter:
    """Prepares words for print.

    Parameters
    ----------
    anchors
        Names of the sections that are there: links to others are words only.
    missing
        Characters that no font has, and what is printed for each.
    """

    anchors: Collection[str] = ()
    missing: Mapping[int, str] = field(default_factory=dict)

    def words(self, text: str, *, kept: bool = False) -> str:
        """Return words without invisible characters, and with places where a line may end.

        Parameters
        ----------
        text
            Any text.
        kept
            They stay on one line.
        """
        # Hard spaces stay: they are how a text says what belongs together.
        seen = _HARD_SPACE.join(map(clean, text.split(_HARD_SPACE))).translate(self.missing)
        return seen.replace(" ", _HARD_SPACE) if kept else _with_breaks(seen)

    def line(self, told: Line, *, kept: bool = False) -> list[tuple[str, ...]]:
        """Return the pieces of a line: words, how they are printed, and where they lead."""
        return [self._piece(piece, kept) for piece in told]

    def _piece(self, piece: Piece, kept: bool) -> tuple[str, ...]:
        if isinstance(piece, Link):
            inner = self._piece(piece.piece, kept)
            return (inner[0], "link", piece.anchor) if piece.anchor in self.anchors else inner
        if isinstance(piece, str):
            return (self.words(piece, kept=kept),)
        words = self._apart(piece.text, kept)
        return (words, "strong") if isinstance(piece, Strong) else (words,)

    def _apart(self, text: str, kept: bool) -> str:
        words = self.words(text, kept=kept)
        turning = any(unicodedata.bidirectional(char) in _TURNING for char in words)
        return f"{_ISOLATE}{words}{_END_ISOLATE}" if turning else words


def _with_breaks(text: str) -> str:
    """Let long words that no language hyphenates end a line within."""
    return " ".join(_parts(word) if len(word) > _LONG else word for word in text.split(" "))


def _parts(word: str) -> str:
    return _TOO_LONG.sub(lambda found: BREAK.join(found.group()), _BETWEEN_PARTS.sub(BREAK, word))


def longest_word(text: str) -> int:
    """Return how many characters stand between two places where a line may end."""
    return max(map(len, _SPACES.split(text)), default=0)


def shortened(text: str, most: int) -> str:
    """Return at most so many characters of a text; three dots tell that some are left out."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
