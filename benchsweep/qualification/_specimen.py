"""What a person says of a specimen, checked."""

from __future__ import annotations

import unicodedata

from benchsweep.errors import UsageError
from benchsweep.records import Specimen

__all__ = ["check_specimen", "check_text"]


def check_specimen(identifier: str, length_m: float | None, *, lot: str = "", product: str = "") -> Specimen:
    """Return the specimen, refusing an empty name, control characters or a length that is none.

    Raises
    ------
    UsageError
    """
    if not identifier.strip():
        raise UsageError(
            "the specimen has no name", hint="Give --specimen a name, as the laboratory uses it."
        )
    _refuse_control(identifier, "the specimen name")
    _refuse_control(lot, "the lot")
    _refuse_control(product, "the product")
    if length_m is not None and not 0.0 < length_m < 10_000.0:
        raise UsageError(
            f"a length of {length_m:g} m makes no sense", hint="Give --length-m in metres, above 0."
        )
    return Specimen(identifier=identifier, length_m=length_m, lot=lot, product=product)


def check_text(
    text: str, what: str, *, hint: str = "Give some words.", also: str = "", may_be_empty: bool = False
) -> str:
    """Return a text that a person gave, refusing an empty one or one with control characters.

    Parameters
    ----------
    what
        What it is, for messages.
    also
        Control characters that may stand in it.

    Raises
    ------
    UsageError
    """
    if not may_be_empty and not text.strip():
        raise UsageError(f"{what} is empty", hint=hint)
    _refuse_control("".join(char for char in text if char not in also), what)
    return text


def _refuse_control(text: str, what: str) -> None:
    if any(unicodedata.category(char) in ("Cc", "Cs") for char in text):
        raise UsageError(
            f"{what} {text!r} holds control characters", hint="Write it in printable characters."
        )
