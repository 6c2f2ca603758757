"""A lot as it stands: read, listed, told."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsweep import archive
from benchsweep.archive.lots import LotFile, LotHistory, list_lots
from benchsweep.lots import clock_doubts
from benchsweep.qualification.lots._afterwards import afterwards_doubts
from benchsweep.qualification.lots._histories import Root, Unread, lots_of, state_in, telling
from benchsweep.qualification.lots._inspection import inspection_words
from benchsweep.qualification.lots._neighbours import reuse_doubts
from benchsweep.qualification.lots._requirement_text import RequirementsInForce
from benchsweep.qualification.lots._sample_doubts import sample_doubts
from benchsweep.qualification.lots._variables import variables_of
from benchsweep.records import LotEvent, LotOpened, LotState, VariablesDecision

__all__ = [
    "LotView",
    "exit_code_of_lot",
    "list_lot_views",
    "lot_names",
    "read_lot",
    "view_of",
    "whole_view",
]


@dataclass(frozen=True, slots=True)
class LotView:
    """A lot as its history tells it, and what a reader must know besides.

    Parameters
    ----------
    folder, path
        The archive, and the file of the history in it.
    state
        Where the lot stands.
    digest
        Names the whole history: 64 hexadecimal digits.
    events
        The entries of the history, oldest first.
    variables
        For a plan by variables: what it says of each characteristic; of an open lot as soon as every reel of
        the sample is decided, before empty.
    inspection
        What the lot means for the lots after it (switching rules), in words; empty from `list_lot_views`.
    doubts
        What a reader must know before the lot is trusted, in words: a record that counts was withdrawn since
        or counts in another lot, too, a clock was set back, other lots were not what they had been when it
        was opened, the text of the requirement is another one now, its limits are not those of a cable …
    """

    folder: Root
    path: archive.Source
    state: LotState
    digest: str
    events: tuple[LotEvent, ...]
    variables: tuple[VariablesDecision, ...] = ()
    inspection: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Name of the lot."""
        return self.state.opened.lot


def read_lot(folder: Root, lot: str) -> LotView:
    """Return a lot as it stands now.

    Parameters
    ----------
    folder
        The archive, or its address.

    Raises
    ------
    UnknownName
        There is no such lot.
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        Its history cannot be read. That of another lot which cannot is told in `inspection`.
    """
    file = LotFile(folder, lot)
    return whole_view(folder, file, file.history())


def whole_view(folder: Root, file: LotFile, history: LotHistory) -> LotView:
    """Return what a history tells, and what the rest of the archive says of it.

    That is what other lots mean for the next one, and as doubts that records which count were withdrawn or
    corrected since, or count in another lot, too.

    Raises
    ------
    RecordDamaged
        The history breaks its own rules.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The archive does not answer, or its folder of lots cannot be listed.
    """
    view = view_of(folder, file, history)
    doubts = (*afterwards_doubts(folder, view.state), *reuse_doubts(folder, view.state), *view.doubts)
    return replace(view, inspection=inspection_words(folder, view.state), doubts=doubts)


def list_lot_views(
    folder: Root,
    *,
    supplier: str | None = None,
    product: str | None = None,
    unread: Unread | None = None,
) -> tuple[LotView, ...]:
    """Return the lots of an archive in the order in which they were opened.

    Parameters
    ----------
    supplier, product
        Only lots of this supplier, of this product; None: of all.
    unread
        Gets the files of lots that cannot be read, or break the rules of a lot; they are left out then.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveError
        A history cannot be read, and `unread` is not given.
    ArchiveUnreachable
        The archive does not answer.
    """
    known = RequirementsInForce()
    views: list[LotView] = []
    for file, history in lots_of(folder, lambda opened: _fits(opened, supplier, product), unread=unread):
        with telling(file.path, unread):
            views.append(view_of(folder, file, history, known))
    return tuple(sorted(views, key=lambda view: (view.state.opened.at, view.name)))


def lot_names(folder: Root) -> tuple[str, ...]:
    """Return the names of the lots of an archive; one whose history cannot be read goes by its file.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The folder cannot be listed.
    """
    return tuple(file.lot for file in list_lots(folder))


def exit_code_of_lot(view: LotView) -> int:
    """Return the exit code of a lot: 0 accepted, 1 not accepted, 3 open.

    A lot that is open is 1 as soon as it is certain that it will not be accepted: by attributes with Re or
    more nonconforming reels, by variables when the sample is complete and a characteristic is refused.
    """
    state = view.state
    if state.closed is not None:
        return 0 if state.closed.accepted else 1
    if state.plan.method == "variables":
        return 1 if any(each.accepted is False for each in view.variables) else 3
    return 1 if len(state.nonconforming) >= state.plan.reject else 3


def view_of(
    folder: Root, file: LotFile, history: LotHistory, known: RequirementsInForce | None = None
) -> LotView:
    """Return what a history tells, without the switching rules.

    `known` is shared among many lots: each requirement is read once.

    Raises
    ------
    RecordDamaged
        The history breaks its own rules.
    """
    state = state_in(file, history.events)
    doubts = (known or RequirementsInForce()).doubts(state.opened)
    if history.unfinished:
        doubts = (
            *doubts,
            f"the last {history.unfinished} bytes of the history are an entry that was never finished: "
            "whoever added it was interrupted, or the end of the file was cut off",
        )
    doubts = (*state.opened.doubts, *clock_doubts(history.events), *doubts)
    closed = state.closed
    variables = variables_of(state) if closed is None else closed.variables
    doubts = (*sample_doubts(state, variables), *doubts)
    return LotView(folder, file.path, state, history.digest, history.events, variables, (), doubts)


def _fits(opened: LotOpened, supplier: str | None, product: str | None) -> bool:
    return supplier in (None, opened.supplier) and product in (None, opened.product)
