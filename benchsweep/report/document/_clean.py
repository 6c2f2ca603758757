"""Characters that no reader sees, made seen."""

from __future__ import annotations

import unicodedata

__all__ = ["clean", "unprintable"]

# Joiners that scripts need; all other invisible characters could make a text look like another one.
_JOINERS = "\u200c\u200d"


def clean(text: str) -> str:
    """Return `text` with every control, direction, private or unpaired character shown as a question mark.

    White space of every kind becomes a space.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join("?" if _is_hidden(char) else " " if char.isspace() else char for char in text)


def unprintable(text: str) -> str:
    """Return the first character that `clean` shows as a question mark, as ``U+202E``; empty without one."""
    if text.isascii() and text.isprintable():
        return ""
    return next((f"U+{ord(char):04X}" for char in text if _is_hidden(char)), "")


def _is_hidden(char: str) -> bool:
    return char not in _JOINERS and unicodedata.category(char)[0] == "C"
