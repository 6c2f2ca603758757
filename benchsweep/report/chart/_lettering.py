"""How much room words take, and how they are written into SVG."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

__all__ = ["BASE", "clean", "escaped", "number", "shortened", "text", "width", "wrapped"]

BASE = 7.0
"""Size of letters that the root of a drawing tells; words of that size do not tell it again."""

# Advance widths of Helvetica in thousandths of its size, from U+0020 (its Adobe Font Metrics; compared
# with the file). Arial, Liberation Sans and Nimbus Sans have them too.
_WIDTHS = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)  # fmt: skip
# A page may be shown in a wider font: DejaVu Sans takes that much more, for each letter and in all.
_WIDER = 1.13
_MORE, _MORE_BOLD = 40, 115
# What XML 1.0 cannot hold (clause 2.2), and what turns the direction of writing.
_REFUSED = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\u200e\u200f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")


@lru_cache(4096)
def clean(words: str) -> str:
    """Return words on one line, without characters that cannot or must not be drawn."""
    return _REFUSED.sub("\N{REPLACEMENT CHARACTER}", re.sub(r"\s+", " ", words))


@lru_cache(4096)
def escaped(words: str) -> str:
    """Return words for the text or an attribute of an element."""
    told = clean(words)
    for sign, name in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;"), ("'", "&#39;")):
        told = told.replace(sign, name)
    return told


@lru_cache(4096)
def width(words: str, size: float, *, bold: bool = False) -> float:
    """Return the most room that words take, in the unit of `size`."""
    total = _WIDER * sum(map(_advance, words)) + len(words) * (_MORE_BOLD if bold else _MORE)
    return total / 1000.0 * size


def _advance(letter: str) -> int:
    code = ord(letter) - 0x20
    if 0 <= code < len(_WIDTHS):
        return _WIDTHS[code]
    if unicodedata.combining(letter):
        return 0
    return 1000 if unicodedata.east_asian_width(letter) in "WF" else 700


def shortened(words: str, size: float, room: float, *, bold: bool = False) -> str:
    """Return words, cut off with an ellipsis where they would take more than `room`."""
    words = clean(words)
    if width(words, size, bold=bold) <= room:
        return words
    while words and width(words + "…", size, bold=bold) > room:
        words = words[:-1]
    return words.rstrip() + "…"


def wrapped(words: str, size: float, room: float) -> list[str]:
    """Return the lines that words take, broken between them; a word that is too long is cut off."""
    lines: list[str] = []
    for given in words.split("\n"):
        now = ""
        for word in clean(given).split(" "):
            longer = f"{now} {word}" if now else word
            if now and width(longer, size) > room:
                lines.append(now)
                now = word
            else:
                now = longer
        lines.append(now)
    return [shortened(line, size, room) for line in lines]


def number(value: float) -> str:
    """Return a coordinate with one decimal at most."""
    told = f"{value:.1f}".removesuffix(".0")
    return "0" if told == "-0" else told


def text(x: float, y: float, words: str, size: float, more: str = "") -> str:
    """Return a text element whose middle stands at the height `y`."""
    at = f'x="{number(x)}" y="{number(y + 0.36 * size)}"'
    told = "" if size == BASE else f' font-size="{size:g}"'
    return f"<text {at}{told}{more}>{escaped(words)}</text>"
