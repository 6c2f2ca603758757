"""Which fonts print a document, and what is printed for characters that none of them has."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import typst

__all__ = ["fonts_for"]

# Of these all fonts that come with typst have all: letters with marks, Greek, Cyrillic, dashes and quotes.
_COMMON = frozenset(map(chr, [*range(0x20, 0x7F), *range(0xA0, 0x180)])) | frozenset("±×÷≤≥−–—‘’“”…°µΩ\n")
_UNSEEN = frozenset("\u200b\u2068\u2069")
_REFUSED = re.compile(r'^error: [^\n]*?the text `"((?:[^"\\]|\\.)*)"` could not be displayed', re.MULTILINE)
_NUMBERED = re.compile(r"\\u\{([0-9a-f]+)\}")
# Each by itself: a mark that no font has would else be told by the letter that it stands on.
_TRIED = b"""#set document(title: "characters")
#set text(font: "Libertinus Serif")
#for one in sys.inputs.characters.clusters().filter(it => it != "\\n") { par(one) }
"""


def fonts_for(characters: frozenset[str]) -> tuple[typst.Fonts, dict[int, str]]:
    """Return fonts, and for each character that they lack its number in place of it (``[U+4E2D]``).

    Only when the fonts that come with typst lack a character, those of the machine are taken too: all other
    documents look the same, and have the same bytes, on every machine.
    """
    import typst

    ours = typst.Fonts(include_system_fonts=False)
    rare = characters - _COMMON - _UNSEEN
    lacking = _lacking(rare, ours)
    if not lacking:
        return ours, {}
    every = typst.Fonts(include_system_fonts=True)
    still = _lacking(lacking, every)
    return (ours if still == lacking else every), {
        ord(char): f"[U+{ord(char):04X}]" for char in sorted(still)
    }


def _told(text: str) -> str:
    """Return a text that typst told, with its numbered characters as they are."""
    return _NUMBERED.sub(lambda found: chr(int(found[1], 16)), text)


def _lacking(characters: frozenset[str], fonts: typst.Fonts) -> frozenset[str]:
    """Return the characters that none of the fonts has: a PDF/UA must not have such, so typst names them."""
    import typst

    lacking: set[str] = set()
    while left := characters - lacking:
        try:
            typst.compile(
                _TRIED,
                font_paths=fonts,
                ignore_system_fonts=True,
                sys_inputs={"characters": "\n".join(sorted(left))},
                pdf_standards="ua-1",
            )
        except typst.TypstError as error:
            named = {char for found in _REFUSED.findall(error.diagnostic) for char in _told(found)} & left
            if not named:
                break
            lacking |= named
        else:
            break
    return frozenset(lacking)
