"""What may stand in a text that a person gives and that is kept: names, reasons, comments."""

from __future__ import annotations

import unicodedata

__all__ = ["LONGEST_NAME", "LONGEST_WORDS", "look_alike", "name_fault", "text_fault"]

_SHOWN = 60

LONGEST_NAME = 200
"""Characters of a name."""
LONGEST_WORDS = 2_000
"""Characters of a reason or another sentence."""
_KINDS = {
    "Cc": "control characters",
    "Cf": "format characters, which do not print",
    "Cs": "halves of characters",
    "Zl": "line separators",
    "Zp": "paragraph separators",
    "Co": "characters for private use",
    "Cn": "characters that Unicode does not know",
}
# Default_Ignorable_Code_Point of Unicode beyond the categories above (from memory), and the blank of Braille:
# they print nothing, or choose how the character before them looks.
_UNSEEN = frozenset(
    map(
        chr,
        (
            *(0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x180B, 0x180C, 0x180D, 0x180F, 0x2800, 0x3164, 0xFFA0),
            *range(0xFE00, 0xFE10),
            *range(0xE0100, 0xE01F0),
        ),
    )
)
# They join letters or keep them apart, which some scripts need, and show nothing by themselves.
_MINUS = "\u2212"
_JOINERS = "\u200c\u200d"


def text_fault(text: str, *, longest: int, joiners: bool = False) -> str:
    r"""Return what is wrong with a text, to follow its name in a sentence; empty when nothing is.

    Refused are Unicode's general categories Cc, Cf, Cs, Zl, Zp, Co and Cn: what shows nothing, or turns what
    is around it, so that two texts look the same or one reads as another.

    Parameters
    ----------
    longest
        Characters that it may have.
    joiners
        U+200C and U+200D may stand in it, and what shows nothing by itself: in sentences, not in names.

    Examples
    --------
    >>> text_fault("K\u202e10", longest=200)
    'holds format characters, which do not print: U+202E RIGHT-TO-LEFT OVERRIDE'
    """
    for char in text:
        kind = _KINDS.get(unicodedata.category(char))
        if kind is None and char in _UNSEEN and not joiners:
            kind = "characters that show nothing"
        if kind is not None and not (joiners and char in _JOINERS):
            return f"holds {kind}: U+{ord(char):04X} {unicodedata.name(char, '')}".rstrip()
    if len(text) > longest:
        return f"has {len(text)} characters; at most {longest} are kept"
    return ""


def name_fault(text: str) -> tuple[str, str] | None:
    r"""Return why a name cannot be read as it is written, and what helps; None when it can.

    Examples
    --------
    >>> name_fault("K01") is None
    True
    >>> name_fault("K\x07")[0]
    "'K\\x07' holds control characters: U+0007"
    """
    if fault := text_fault(text, longest=LONGEST_NAME):
        shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
        return f"{shown!r} {fault}", "Write it as it can be read on a label."
    composed = unicodedata.normalize("NFC", text)
    if text != composed:
        return (
            f"{text} is not in composed form (NFC of Unicode)",
            f"Write it composed, as keyboards do: {composed}",
        )
    return None


def look_alike(name: str) -> str:
    r"""Return what all names have in common that a reader may take for this one.

    Compatibility forms, capitals and small letters, kinds of dashes, and blanks make no
    difference (NFKC, case folding and category Pd of Unicode). Letters of different scripts do, though they
    may look the same.

    Examples
    --------
    >>> look_alike("K01") == look_alike("\uff4b01"), look_alike("K01") == look_alike("K1")
    (True, False)
    """
    folded = unicodedata.normalize("NFKC", name).casefold()
    alike = "".join(
        "-" if unicodedata.category(char) == "Pd" or char == _MINUS else char
        for char in unicodedata.normalize("NFKC", folded)
    )
    return "".join(alike.split())
