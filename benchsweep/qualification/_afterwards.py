"""What was said of records after others came to stand on them: a lot, a channel, a comparison.

Only names of notes and the few notes that fit are read, no record: this is asked whenever one is looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from benchsweep import archive
from benchsweep.archive.places import below, files_in
from benchsweep.lots import seconds_before
from benchsweep.qualification._corrections import value_name
from benchsweep.records import Correction, Note, corrections_in_force

__all__ = ["Afterwards", "corrected_since"]

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
        return corrections_in_force(notes).withdrawn, any(True for _ in corrected_since(notes, added_at))

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


def corrected_since(notes: Iterable[Note], at: str) -> Iterator[tuple[str, str]]:
    """Yield what was corrected after a moment: what, by whom and when, in words; and the reason."""
    for note in notes:
        if isinstance(note, Correction) and note.changes and seconds_before(at, note.at) > 0.0:
            what = ", ".join(value_name(key) for key in note.changes)
            yield f"{what} of its record corrected by {note.by} on {note.at[:10]}", note.reason
