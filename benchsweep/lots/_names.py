from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from benchsweep.errors import LotRefused
from benchsweep.records import LotOpened, look_alike, name_fault

__all__ = ["check_names", "refuse_double", "refuse_empty", "refuse_text", "some"]

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


def check_names(event: LotOpened, others: Iterable[str] = ()) -> None:
    """Refuse names of a new lot that a reader could not tell from another one, or not read at all.

    Asked when a lot is opened, and of no history that is there: before there was this rule other names could
    be given, which stay readable.

    Parameters
    ----------
    others
        The lots of the archive.

    Raises
    ------
    LotRefused
        A character that does not print, a name that is too long or not composed (NFC of Unicode); a lot or a
        reel of which the name differs from that of another one by capitals, kinds of letters or blanks alone.
    """
    named = (("lot", event.lot), ("supplier", event.supplier), ("product", event.product))
    for what, text in (*named, *(("reel", reel) for reel in event.reels)):
        _refuse_fault(f"the name of the {what}", text)
    _refuse_fault("the seed of the random order", event.seed)
    _refuse_alike("lot", event.lot, {look_alike(lot): lot for lot in others if lot != event.lot})
    known: dict[str, str] = {}
    for reel in event.reels:
        _refuse_alike("reel", reel, known)
        known[look_alike(reel)] = reel


def _refuse_fault(what: str, text: str) -> None:
    if (found := name_fault(text)) is not None:
        words, hint = found
        raise LotRefused(f"{what} {words}", hint=hint)


def _refuse_alike(what: str, name: str, known: Mapping[str, str]) -> None:
    other = known.get(look_alike(name))
    if other is not None and other != name:
        raise LotRefused(
            f"the name of the {what} {name} looks like {other}, which there is already",
            hint="Give it a name that differs by more than capitals, blanks or the kind of a letter.",
        )


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
