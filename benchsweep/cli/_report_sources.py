"""What is to be reported: records that are named, or those of an archive that fit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchsweep.cli._archive_find import say_damaged
from benchsweep.cli._options import Source
from benchsweep.cli._output import say
from benchsweep.cli._selection import Chosen
from benchsweep.errors import UsageError

__all__ = ["Sources", "chosen_sources"]

_NAMED = "Name records, or choose those of an archive, for example with --archive DIR --lot L."


@dataclass(frozen=True, slots=True)
class Sources:
    """Which records and series are reported.

    Parameters
    ----------
    records
        Paths and addresses, in the order of the report.
    damaged
        Files of the archive that cannot be read and what is wrong; nobody knows whether they belong here.
    """

    records: tuple[Source, ...]
    damaged: tuple[tuple[str, str], ...] = ()


def chosen_sources(
    named: Sequence[Source],
    chosen: Chosen,
    *,
    asked: bool,
    parameters: Sequence[str],
    progress: Callable[[str], None],
) -> Sources:
    """Return what was named, or what of the archive fits, oldest first.

    Parameters
    ----------
    asked
        Whether the archive itself was named.
    parameters
        With an archive: whose newest grading holds one of these.

    Raises
    ------
    UsageError
        Nothing is named and nothing chosen, both, or nothing fits.
    ArchiveError
        There is no such archive.
    """
    if named and (chosen.given or asked):
        raise UsageError(
            "records are named and chosen from an archive as well", hint="Do one of both: drop the other."
        )
    if named:
        return Sources(tuple(named))
    if not (chosen.given or asked):
        raise UsageError("no record is named", hint=_NAMED)
    return _of_archive(chosen, tuple(parameters), progress)


def _of_archive(chosen: Chosen, parameters: tuple[str, ...], progress: Callable[[str], None]) -> Sources:
    from benchsweep.qualification import find_document, find_records

    selection = replace(chosen.selection, parameter=parameters) if parameters else chosen.selection
    found = find_records(chosen.root, selection, progress=progress)
    document = find_document(chosen.root, found, records=False)
    for note in document["notes"]:
        say(note)
    say_damaged(document)
    records = tuple(one.source if "://" in one.source else Path(one.source) for one in found)
    if not records:
        raise UsageError(
            f"nothing in {chosen.root} fits"
            if chosen.given or parameters
            else f"no records in {chosen.root}",
            hint="See what there is with `benchsweep archive find`.",
        )
    return Sources(records, tuple((one.source, one.reason) for one in found.damaged))
