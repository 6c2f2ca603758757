"""What a person says of a specimen, checked."""

from __future__ import annotations

import unicodedata

from benchsweep.errors import UsageError
from benchsweep.records import LONGEST_NAME, LONGEST_WORDS, Specimen, text_fault

__all__ = ["check_specimen", "check_text"]

_SHOWN = 60


def check_specimen(identifier: str, length_m: float | None, *, lot: str = "", product: str = "") -> Specimen:
    """Return the specimen, refusing an empty name, one that `text_fault` refuses, or a length that is none.

    Names are kept in composed form (NFC of Unicode), so that one reel has one name.

    Raises
    ------
    UsageError
    """
    if not identifier.strip():
        raise UsageError(
            "the specimen has no name", hint="Give --specimen a name, as the laboratory uses it."
        )
    identifier, lot, product = (unicodedata.normalize("NFC", text) for text in (identifier, lot, product))
    for text, what in ((identifier, "the specimen name"), (lot, "the lot"), (product, "the product")):
        _refuse(text, what, longest=LONGEST_NAME)
    if length_m is not None and not 0.0 < length_m < 10_000.0:
        raise UsageError(
            f"a length of {length_m:g} m makes no sense", hint="Give --length-m in metres, above 0."
        )
    return Specimen(identifier=identifier, length_m=length_m, lot=lot, product=product)


def check_text(
    text: str,
    what: str,
    *,
    hint: str = "Give some words.",
    also: str = "",
    may_be_empty: bool = False,
    longest: int = LONGEST_WORDS,
) -> str:
    """Return a text that a person gave, refusing an empty one, or what `text_fault` refuses.

    Parameters
    ----------
    what
        What it is, for messages.
    also
        Control characters that may stand in it.
    longest
        Characters that it may have.

    Raises
    ------
    UsageError
    """
    if not may_be_empty and not text.strip():
        raise UsageError(f"{what} is empty", hint=hint)
    _refuse("".join(char for char in text if char not in also), what, longest=longest, joiners=True)
    return text


def _refuse(text: str, what: str, *, longest: int, joiners: bool = False) -> None:
    if fault := text_fault(text, longest=longest, joiners=joiners):
        shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
        hint = "Say it in fewer words." if "at most" in fault else "Write it in printable characters."
        raise UsageError(f"{what} {shown!r} {fault}", hint=hint)
