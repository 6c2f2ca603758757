"""Names of new channels, testers and studies: such as people can tell apart."""

from __future__ import annotations

from benchsweep.archive.references import ReferenceKind, list_references
from benchsweep.errors import ReferenceRefused, UsageError
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._histories import Root
from benchsweep.qualification.comparisons._witness import seen_references
from benchsweep.records import look_alike, name_fault

__all__ = ["check_new_name"]


def check_new_name(folder: Root, kind: ReferenceKind, name: str) -> None:
    """Refuse the name of a new one that a reader could not tell from another of its kind, or not read.

    Asked of new names only: histories that are there keep theirs.

    Raises
    ------
    UsageError
        Nothing, a character that does not print, too long, not composed (NFC of Unicode).
    ReferenceRefused
        It differs from that of another one by capitals, kinds of letters or blanks alone.
    """
    what = f"the name of the {kind}"
    check_text(name, what, hint="Give it a name, as the laboratory uses it.")
    if (found := name_fault(name)) is not None:
        words, hint = found
        raise UsageError(f"{what} {words}", hint=hint)
    if (kind, name) in seen_references(folder, []).gone():
        raise ReferenceRefused(
            f"there was a {kind} {name}, and its history is gone",
            hint="Restore its file from a copy, or give the new one another name.",
        )
    there = {look_alike(file.name): file.name for file in list_references(folder, kind)}
    other = there.get(look_alike(name))
    if other is not None and other != name:
        raise ReferenceRefused(
            f"{what} {name} looks like {other}, which there is already",
            hint="Give it a name that differs by more than capitals, blanks or the kind of a letter.",
        )
