"""Lines of a document as a PDF can print them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from benchsweep.report.document import Given, Line, Link, Piece, Strong, clean

__all__ = ["BREAK", "LONG", "Typesetter", "longest_word", "shortened"]

BREAK = "\u200b"
"""Where a line may end. `page.typ` takes it out of the text, so that words are found and copied whole."""

LONG = 25
"""A word of so many characters may end a line anywhere."""

_HARD_SPACE = "\u00a0"
# Text that runs from right to left turns what stands around it unless it is set apart.
_TURNING = {"R", "AL", "AN"}
_APART = 60
# Readers of the PDF see these: they are for a text that must be broken, the shorter ones stand in a box.
_ISOLATE, _END_ISOLATE = "\u2068", "\u2069"
_JOINERS = "\u200c\u200d"
_ENDS = re.compile(rf"[\s{BREAK}]+")


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

    def words(self, text: str) -> str:
        """Return a text without invisible characters. Hard spaces stay: they keep words together."""
        return _HARD_SPACE.join(map(clean, text.split(_HARD_SPACE))).translate(self.missing)

    def breakable(self, text: str, longest: int = LONG) -> str:
        """Return words with places where a line may end in those that have `longest` characters or more."""
        words = self.words(text)
        if longest > len(words):
            return words
        return "".join(
            "".join(_with_breaks(part)) if len(part) >= longest else part
            for part in re.split(r"(\s+)", words)
        )

    def line(self, told: Line, *, kept: bool = False, longest: int = LONG) -> list[tuple[str, ...]]:
        """Return the pieces of a line: words, how they are printed, and where they lead.

        Parameters
        ----------
        told
            The line.
        kept
            Stays on one line.
        longest
            As of `breakable`.
        """
        return [self._piece(piece, kept, longest) for piece in told]

    def _piece(self, piece: Piece, kept: bool, longest: int) -> tuple[str, ...]:
        if isinstance(piece, Link):
            inner = self._piece(piece.piece, kept, longest)
            return (inner[0], "link", piece.anchor, *inner[1:]) if piece.anchor in self.anchors else inner
        text = piece if isinstance(piece, str) else piece.text
        words = self.words(text).replace(" ", _HARD_SPACE) if kept else self.breakable(text, longest)
        if isinstance(piece, Given) and any(unicodedata.bidirectional(char) in _TURNING for char in words):
            if len(words) <= _APART:
                return (words, "apart")
            words = f"{_ISOLATE}{words}{_END_ISOLATE}"
        return (words, "strong") if isinstance(piece, Strong) else (words,)


def _with_breaks(word: str) -> Iterator[str]:
    """Yield the characters of a word, and a break before each that does not belong to the one before."""
    before = ""
    for char in word:
        if before and before not in _JOINERS and char not in _JOINERS and not unicodedata.combining(char):
            yield BREAK
        yield char
        before = char


def longest_word(text: str) -> int:
    """Return how many characters stand between two places where a line may end."""
    return max(map(len, _ENDS.split(text)), default=0)


def shortened(text: str, most: int) -> str:
    """Return at most so many characters of a text; three dots tell that some are left out."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
