from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence

from benchsweep.errors import LotRefused

__all__ = ["refuse_double", "refuse_empty", "refuse_text", "some"]

_SHOWN = 6


def some(names: Sequence[str]) -> str:
    """Return names in a row, the first few of them where there are many.

    Examples
    --------
    >>> some(["R3", "R1"]), some([f"R{k}" for k in range(9)])
    ('R3, R1', 'R0, R1, R2, R3, R4, R5 and 3 more')
    """
    shown = ", ".join(names[:_SHOWN])
    return shown if len(names) <= _SHOWN else f"{shown} and {len(names) - _SHOWN} more"


def refuse_empty(what: str, text: str, hint: str) -> None:
    """Refuse a text that says nothing.

    Raises
    ------
    LotRefused
    """
    if not text.strip():
        raise LotRefused(f"{what} is missing", hint=hint)


def refuse_text(what: str, text: str) -> None:
    """Refuse a name that cannot be told from another one on paper: blanks around it, what does not print.

    Raises
    ------
    LotRefused
    """
    if not text.strip():
        raise LotRefused(f"{what} is missing", hint="Give a name.")
    if text != text.strip():
        raise LotRefused(f"{what} begins or ends with a blank: {text!r}", hint="Leave the blank out.")
    # Line feeds and the like (Cc), halves of a character (Cs), line and paragraph separators (Zl, Zp).
    if any(unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp") for character in text):
        raise LotRefused(f"{what} holds a character that does not print: {text!r}", hint="Leave it out.")


def refuse_double(names: Iterable[str]) -> None:
    """Refuse names of reels of which two are the same, also where only their encoding differs.

    Raises
    ------
    LotRefused
    """
    seen: set[str] = set()
    for name in names:
        refuse_text("the name of a reel", name)
        plain = unicodedata.normalize("NFC", name)
        if plain in seen:
            raise LotRefused(
                f"the reel {name} is named twice", hint="Name each reel of the lot once, as it is labelled."
            )
        seen.add(plain)
