"""Which records a bulk run is about."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import NamedTuple

from benchsweep import archive
from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.qualification._again import reduced_again, superseded_words
from benchsweep.qualification.bulk._plain import corrections_text
from benchsweep.qualification.bulk._work import Item
from benchsweep.records import Correction

__all__ = ["ChosenItems", "Problem", "chosen_items"]

Problem = tuple[str, str]
"""A file, and in words what is wrong with it."""

_NOTE = re.compile(r"([0-9a-f]{16})-.+-(?:comment|correction)\.h5")
_DIGITS = re.compile(r"[0-9a-f]{2}")
_HOLDS_NO_RECORDS = (archive.NOTES, archive.GRADINGS, "calibrations")


class ChosenItems(NamedTuple):
    """What a bulk run is about.

    Attributes
    ----------
    items
        Records only: of a series `grade` grades one sweep at a time. Each with its corrections and with the
        outcome of the newest grading that is kept, by requirement.
    damaged
        What cannot be graded because it, or a correction of it, cannot be read; and folders that cannot be
        listed. Records that cannot be read are among these whatever was asked for: nobody knows whether they
        fit.
    warnings
        Files that cannot be read and keep no record from being graded that was asked for: comments,
        gradings, calibrations, corrections of others.
    """

    items: tuple[Item, ...]
    damaged: tuple[Problem, ...]
    warnings: tuple[Problem, ...]


def chosen_items(
    root: str,
    selection: archive.Selection,
    *,
    against: Collection[str] = (),
    progress: Callable[[str], None] = lambda _: None,
) -> ChosenItems:
    """Return the records of an archive that fit, oldest first, and the files that cannot be read.

    Parameters
    ----------
    against
        Requirements of which the newest kept outcomes are told.

    Raises
    ------
    ArchiveError
        There is no such archive, or it cannot be listed.
    """
    found = archive.find(root, replace(selection, kinds=("record",)), progress=progress)
    own = [one for one in found.damaged if not _of_notes(one)]
    damaged = [(one.source, one.reason) for one in own if not _beside(one)]
    warnings = [(one.source, one.reason) for one in own if _beside(one)]
    doubts = [_doubt(one) for one in found.damaged if _of_notes(one)]
    stopping = [doubt for doubt in doubts if doubt.stops is not None]
    told = set()
    items = []
    for one in found:
        doubt = next((doubt for doubt in stopping if doubt.about(one.content_hash)), None)
        if doubt is not None:
            told.add(doubt.file)
            damaged.append((one.source, f"whether it was corrected is not known: {doubt.words}"))
            continue
        try:
            corrections, superseded = _corrections(one), _superseded(one)
        except ArchiveUnreachable:
            raise
        except ArchiveError as error:
            damaged.append((one.source, f"what was said of it cannot be read: {error.message}"))
            continue
        before = {
            judged.requirement: str(judged.outcome) for judged in one.judged if judged.requirement in against
        }
        items.append(Item(one.source, one.content_hash, corrections, before, superseded))
    warnings += [(doubt.file, doubt.reason) for doubt in doubts if doubt.file not in told]
    return ChosenItems(tuple(items), tuple(damaged), tuple(warnings))


@dataclass(frozen=True, slots=True)
class _Doubt:
    """A note that cannot be read, or a folder of notes that cannot be listed.

    `stops` is the beginning of the content hashes of the records that may be corrected by it; None where it
    corrects none: it is a comment, or its name is one under which no correction is looked for.
    """

    file: str
    reason: str
    stops: str | None

    @property
    def words(self) -> str:
        return f"{self.file}: {self.reason}"

    def about(self, content_hash: str) -> bool:
        return self.stops is not None and content_hash.startswith(self.stops)


def _doubt(one: archive.Damaged) -> _Doubt:
    *folders, name = one.name.split("/")
    stops: str | None = None
    if note := _NOTE.fullmatch(name):
        stops = None if archive.surely_comment(one.source) else note[1]
    elif name == archive.NOTES:
        stops = ""
    elif folders and folders[-1] == archive.NOTES and _DIGITS.fullmatch(name):
        stops = name
    return _Doubt(one.source, one.reason, stops)


def _of_notes(one: archive.Damaged) -> bool:
    return archive.NOTES in one.name.split("/")


def _beside(one: archive.Damaged) -> bool:
    """Tell whether a file, going by its folder, holds no record."""
    return any(part in _HOLDS_NO_RECORDS for part in one.name.split("/"))


def _corrections(one: archive.Found) -> str:
    """Return what was corrected of a record, as `corrections_text` writes it.

    Raises
    ------
    ArchiveError
        A correction cannot be read, or has a name under which nobody who has the record finds it.
    """
    if not one.corrections:
        return ""
    comments: list[ArchiveError] = []
    notes = archive.notes_of(archive.root_of(one.source), one.content_hash, damaged=comments)
    corrections = [note for note in notes if isinstance(note, Correction)]
    if len(corrections) < one.corrections:
        raise ArchiveError(
            f"corrections in the archive: {one.corrections}, and under names by which they are found: "
            f"{len(corrections)}",
            hint="See notes/ in the archive: a name begins with 16 digits of the content hash.",
        )
    return corrections_text(notes)


def _superseded(one: archive.Found) -> str:
    into = reduced_again(one.source).into if one.superseded_by else None
    return "" if into is None else superseded_words(into)
