"""What became of the records of a lot: corrected before they were added, withdrawn or corrected since."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from benchsweep import archive
from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.qualification._afterwards import Afterwards, corrected_since
from benchsweep.qualification._corrections import corrected_words, withdrawn_words
from benchsweep.records import LotState, corrections_in_force

__all__ = ["afterwards_doubts", "corrections_told"]


def afterwards_doubts(folder: archive.Source, state: LotState) -> tuple[str, ...]:
    """Return which records that count were withdrawn, or corrected after they were added, in words.

    Raises
    ------
    ArchiveUnreachable
        The archive does not answer. A note that cannot be read is told of.
    """
    found = Afterwards(folder)
    told: list[str] = []
    for reel, entry in state.counting.items():
        try:
            notes = found.notes(entry.record, entry.path)
        except ArchiveUnreachable:
            raise
        except ArchiveError as error:
            told.append(
                f"{reel}: whether its record was withdrawn or corrected since is not known: {error.message}"
            )
            continue
        withdrawn = corrections_in_force(notes).withdrawn
        if withdrawn is not None:
            counts = "the decision stands on it" if state.closed is not None else "it counts here still"
            told.append(f"{reel}: {withdrawn_words(withdrawn)}; {counts}")
        if found.is_gone(entry.path):
            told.append(f"{reel}: its record {entry.path} is not there any more")
        told += [
            f"{reel}: {words}, after it was added ({reason}); `benchsweep lot prove` says what holds now"
            for words, reason in corrected_since(notes, entry.at)
        ]
    return tuple(told)


def corrections_told(state: LotState) -> Mapping[str, tuple[str, ...]]:
    """Return reel -> what had been corrected of the record that counts when it was added, in words.

    From the history alone: it is what the decision stands on, whatever became of the record.
    """
    found = {reel: corrected_words(entry.result.notes) for reel, entry in state.counting.items()}
    return MappingProxyType({reel: words for reel, words in found.items() if words})
