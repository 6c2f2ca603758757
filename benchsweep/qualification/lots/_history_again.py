"""The history of a lot held against what is known of it elsewhere: a digest on paper, other lots."""

from __future__ import annotations

import re

from benchsweep.archive.lots import LotFile
from benchsweep.errors import UsageError
from benchsweep.qualification.lots._histories import Root, Unread
from benchsweep.qualification.lots._neighbours import seen_lots, seen_wrong
from benchsweep.qualification.lots._view import LotView

__all__ = ["checked_digest", "history_differs", "lost_words"]

_FEWEST = 16
_DIGITS = re.compile(r"[0-9a-f]{16,64}")


def checked_digest(text: str) -> str:
    """Return a digest as it was typed or copied, without blanks, in small letters; empty stays empty.

    Raises
    ------
    UsageError
        It is none: letters that are no digits, fewer than 16 of them, more than 64.
    """
    digest = re.sub(r"\s+", "", text).lower()
    if text and not _DIGITS.fullmatch(digest):
        raise UsageError(
            f"{text!r} is no digest of a lot",
            hint=f"Give the 64 hexadecimal digits that the report or `benchsweep lot status` printed, or the "
            f"first {_FEWEST} of them or more.",
        )
    return digest


def history_differs(folder: Root, view: LotView, digest: str) -> tuple[tuple[str, ...], str]:
    """Return what of a history is not as it was known elsewhere, and what was found of the digest, in words.

    Parameters
    ----------
    digest
        As `checked_digest` returns it; empty: compared with none.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The folder of lots cannot be read, or does not answer.
    """
    told: list[str] = []
    kept = ""
    if digest:
        digests = LotFile(folder, view.name).history().digests
        at = next((number for number, each in enumerate(digests, start=1) if each.startswith(digest)), 0)
        later = len(digests) - at
        if not at:
            told.append(
                f"the digest {digest[:_FEWEST]}… names no state of this history of {len(digests)} entries: "
                "the last ones were taken off, or it was written anew"
            )
        elif later:
            kept = f"named the first {at} entries, which are as they were; {later} came since"
        else:
            kept = f"names this history: all {at} entries are as they were"
    unread: Unread = []
    seen = seen_lots(folder, unread)
    mine = {each.lot for event in view.events[:1] for each in getattr(event, "earlier", ())}
    for _, each, words in seen_wrong(seen, unread):
        if each.lot == view.name or each.lot in mine:
            told.append(words)
    return tuple(told), kept


def lost_words(folder: Root, lot: str) -> str:
    """Return that there was a lot of that name, as later ones know; empty when none does."""
    unread: Unread = []
    seen = seen_lots(folder, unread)
    found = (words for _, each, words in seen_wrong(seen, unread) if each.lot == lot)
    words = next(found, "")
    return f"There was one: {words}." if words else ""
