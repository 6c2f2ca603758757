"""What became of the records of a lot: corrected before they were added, withdrawn or corrected since.

Only names of notes and the few notes that fit are read, no record: this is asked whenever a lot is looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from benchsweep import archive
from benchsweep.archive.places import below, files_in
from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.lots import seconds_before
from benchsweep.qualification._corrections import corrected_words, value_name, withdrawn_words
from benchsweep.records import Correction, LotState, Note, corrections_in_force

__all__ = ["Afterwards", "afterwards_doubts", "corrections_told"]

_DIGITS = 16


class Afterwards:
    """Notes about the records of an archive, its drawers of notes each listed once.

    Parameters
    ----------
    folder
        The archive.
    """

    def __init__(self, folder: archive.Source) -> None:
        self._folder = folder
        self._roots: dict[str, archive.Source] = {}
        self._noted: dict[str, frozenset[str]] = {}

    def notes(self, record: str, path: str) -> tuple[Note, ...]:
        """Return what was said of a record, in time order.

        Parameters
        ----------
        record, path
            Its content hash; its file, below the archive.

        Raises
        ------
        RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
            A note that may be a correction, or a folder of notes, cannot be read.
        """
        root = self._root(path)
        named = str(root)
        if named not in self._noted:
            files = files_in(below(root, archive.NOTES), deep=True)
            names = (str(file).replace("\\", "/").rpartition("/")[2] for file in files)
            self._noted[named] = frozenset(name[:_DIGITS] for name in names)
        if record[:_DIGITS] not in self._noted[named]:
            return ()
        return archive.notes_of(root, record, damaged=[])

    def since(self, record: str, path: str, added_at: str) -> tuple[Correction | None, bool]:
        """Return what withdrew a record, whether it was corrected since it was added; raises as `notes`."""
        notes = self.notes(record, path)
        return corrections_in_force(notes).withdrawn, any(True for _ in _corrected(notes, added_at))

    def is_gone(self, path: str) -> bool:
        """Tell whether the file of a record of a folder is missing; at an address that is not asked."""
        local = archive.local_path(below(self._folder, *path.split("/")))
        return local is not None and not local.exists()

    def _root(self, path: str) -> archive.Source:
        """Return the archive that a record is in; it depends on its folder alone."""
        parent = path.rpartition("/")[0]
        if parent not in self._roots:
            self._roots[parent] = archive.root_of(below(self._folder, *path.split("/")))
        return self._roots[parent]


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
        told += [f"{reel}: {words}" for words in _corrected(notes, entry.at)]
    return tuple(told)


def corrections_told(state: LotState) -> Mapping[str, tuple[str, ...]]:
    """Return reel -> what had been corrected of the record that counts when it was added, in words.

    From the history alone: it is what the decision stands on, whatever became of the record.
    """
    found = {reel: corrected_words(entry.result.notes) for reel, entry in state.counting.items()}
    return MappingProxyType({reel: words for reel, words in found.items() if words})


def _corrected(notes: Iterable[Note], added_at: str) -> Iterable[str]:
    for note in notes:
        if isinstance(note, Correction) and note.changes and seconds_before(added_at, note.at) > 0.0:
            what = ", ".join(value_name(key) for key in note.changes)
            yield (
                f"{what} of its record corrected by {note.by} on {note.at[:10]}, after it was added "
                f"({note.reason}); `benchsweep lot prove` says what holds now"
            )
