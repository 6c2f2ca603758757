"""Characters that no reader sees, made seen."""

from __future__ import annotations

import unicodedata

__all__ = ["clean"]

# Joiners that scripts need; all other invisible characters could make a text look like another one.
_JOINERS = "\u200c\u200d"


def clean(text: str) -> str:
    """Return `text` with every control, direction, private or unpaired character shown as a question mark.

    White space of every kind becomes a space.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        "?"
        if char not in _JOINERS and unicodedata.category(char)[0] == "C"
        else " "
        if char.isspace()
        else char
        for char in text
    )
