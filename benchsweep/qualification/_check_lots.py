"""What a check of an archive says of the rules of a lot, which files alone do not know."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.archive.check import Finding
from benchsweep.archive.lots import LOTS, file_name, read_history
from benchsweep.errors import ArchiveError, LotRefused
from benchsweep.lots import clock_doubts, state_of
from benchsweep.records import LotOpened

__all__ = ["lot_findings", "lot_name"]


def lot_name(source: object) -> str:
    """Return the name of the file of a lot below its archive."""
    return f"{LOTS}/{_last(str(source))}"


def lot_findings(source: str, *, named: bool) -> Iterator[Finding]:
    """Yield what is wrong with a lot whose file is sound: entries that may not stand there, another name.

    Parameters
    ----------
    named
        Its file should have the name that the name of the lot makes.
    """
    try:
        events = read_history(source).events
    except ArchiveError:  # it went, or was changed, since it was checked
        return
    if not events:
        return
    first = events[0]
    if named and isinstance(first, LotOpened) and _last(source) != file_name(first.lot):
        words = (
            f"holds the lot {first.lot}, whose file is {file_name(first.lot)}: it is a copy, or was renamed"
        )
        yield Finding("lot-refused", source, words)
    if isinstance(first, LotOpened):
        for words in first.doubts:
            yield Finding("lot-doubtful", source, f"when it was opened: {words}")
    for words in clock_doubts(events):
        yield Finding("lot-doubtful", source, words)
    try:
        state_of(events)
    except LotRefused as error:
        yield Finding("lot-refused", source, error.message)


def _last(source: str) -> str:
    return source.replace("\\", "/").rpartition("/")[2]
