"""Decide a lot."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from benchsweep.archive.lots import LotFile
from benchsweep.errors import LotRefused
from benchsweep.lots import check_closed, decision
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.lots._histories import append_to, local_archive, state_in
from benchsweep.qualification.lots._recheck import ReelAgain, measured_once, recheck
from benchsweep.qualification.lots._requirement_text import requirement_of
from benchsweep.qualification.lots._variables import variables_of
from benchsweep.qualification.lots._view import LotView, whole_view
from benchsweep.records import LotClosed, LotEvent, LotState

__all__ = ["close_lot"]

_MOST = 5
_TRIES = 3


class _Grown(Exception):
    """Another station added an entry while records were being read."""


def close_lot(
    folder: Path, lot: str, *, by: str, progress: Callable[[str], None] = lambda _: None
) -> LotView:
    """Decide a lot; nothing can be added to its history afterwards.

    Every record that counts is read again, all its checksums compared, and graded with the text that the
    requirement had when the lot was opened: the decision rests on records that are there.

    Raises
    ------
    UnknownName
        There is no such lot.
    LotRefused
        It is closed, a reel of the sample has no result or an undecided one, or the plan decides nothing; a
        record that counts is missing, has another content, was withdrawn or corrected so that it is of
        another reel, product or lot, or is graded otherwise now; no text of the requirement is kept.
    ArchiveError
        The history cannot be read or written, or the archive does not answer.
    """
    root = local_archive(folder)
    check_text(by, "who closes the lot", hint="Name who does it.")
    file = LotFile(root, lot)
    for _ in range(_TRIES):
        events = file.read()
        state = state_in(file, events)
        check_closed(state)
        _refuse_changed_records(root, state, progress)
        event = _event(state, by)

        def fits(found: tuple[LotEvent, ...], seen: tuple[LotEvent, ...] = events) -> None:
            if found != seen:
                raise _Grown
            check_closed(state_in(file, found), event)  # noqa: B023 - called within this turn

        try:
            history = append_to(file, event, fits)
        except _Grown:
            continue
        return whole_view(folder, file, history)
    raise LotRefused(
        f"the lot {lot} is being added to by others all the time",
        hint="Close it when nobody works on it any more.",
    )


def _event(state: LotState, by: str) -> LotClosed:
    variables = variables_of(state)
    found = decision(state, variables)
    if found.accepted is None:
        raise LotRefused(
            f"the plan decides nothing: {found.words}",
            hint="Replan the lot for inspection by attributes: the order of the reels stays.",
        )
    return LotClosed(
        at=utc_now("microseconds"),
        by=by,
        accepted=found.accepted,
        nonconforming=state.nonconforming,
        words=found.words,
        ends_reduced=found.ends_reduced,
        variables=variables,
    )


def _refuse_changed_records(root: Path, state: LotState, progress: Callable[[str], None]) -> None:
    requirement = requirement_of(root, state)
    reels: dict[str, ReelAgain] = {}
    for reel in state.sample:
        progress(f"reading the record of {reel}")
        reels[reel] = recheck(root, state, state.counting[reel], requirement)
    told = [f"{reel}: {words}" for reel, again in reels.items() for words in again.words]
    told += measured_once(reels)
    if told:
        more = f"; and {len(told) - _MOST} more" if len(told) > _MOST else ""
        raise LotRefused(
            f"the records are not what was added: {'; '.join(told[:_MOST])}{more}",
            hint="Restore the record, or add what holds now with the reason of the retest.",
        )
