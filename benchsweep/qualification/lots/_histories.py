"""The histories of lots of an archive, each read once."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from benchsweep import archive
from benchsweep.archive.lots import LotFile, LotHistory, file_name, lot_sources, read_history, read_opening
from benchsweep.errors import LotRefused, RecordDamaged
from benchsweep.lots import check_clock, state_of
from benchsweep.qualification._histories import Root, Unread, local_archive, telling
from benchsweep.records import LotEvent, LotOpened, LotState

__all__ = ["Root", "Unread", "append_to", "local_archive", "lots_of", "no_collections", "state_in", "telling"]


def lots_of(
    folder: Root, wanted: Callable[[LotOpened], bool] | None = None, *, unread: Unread | None = None
) -> list[tuple[LotFile, LotHistory]]:
    """Return the lots of an archive that are wanted, in no order; those that were never opened are left out.

    Parameters
    ----------
    unread
        Gets the files that cannot be read, whether they would be wanted or not: nobody knows. They stop
        nothing then.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveError
        A history that is wanted, or the first entry of any, cannot be read, and `unread` is not given.
    ArchiveUnreachable
        The archive does not answer.
    """
    found: list[tuple[LotFile, LotHistory]] = []
    with no_collections():
        for source in lot_sources(folder):
            with telling(source, unread):
                found += _read(folder, source, wanted)
    return found


def _read(
    folder: Root, source: archive.Source, wanted: Callable[[LotOpened], bool] | None
) -> list[tuple[LotFile, LotHistory]]:
    if wanted is not None and ((first := read_opening(source)) is None or not wanted(first)):
        return []
    history = read_history(source)
    if not history.events:
        return []
    opened = history.events[0]
    assert isinstance(opened, LotOpened)  # noqa: S101 - reading a history makes sure of it
    if not str(source).replace("\\", "/").endswith(f"/{file_name(opened.lot)}"):
        raise RecordDamaged(
            f"{source}: holds the history of the lot {opened.lot}",
            hint="Give the file its own name again.",
        )
    return [(LotFile(folder, opened.lot), history)]


@contextmanager
def no_collections() -> Iterator[None]:
    """Keep the garbage collector from looking again and again at millions of values that all stay.

    A thousand lots of eight reels are read in three quarters of the time.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def append_to(file: LotFile, event: LotEvent, check: Callable[[tuple[LotEvent, ...]], None]) -> LotHistory:
    """Add an entry that is not older than those before it; see `LotFile.append`.

    Raises
    ------
    LotRefused
        It is: a clock was set back. And as `LotFile.append`.
    """

    def fits(events: tuple[LotEvent, ...]) -> None:
        check_clock(events, event)
        check(events)

    return file.append(event, fits)


def state_in(file: LotFile, events: tuple[LotEvent, ...]) -> LotState:
    """Return where a lot stands after its entries.

    Raises
    ------
    RecordDamaged
        They break their own rules: somebody meddled with the file.
    """
    try:
        return state_of(events)
    except LotRefused as error:
        raise RecordDamaged(f"{file.path}: {error.message}", hint=error.hint) from error
