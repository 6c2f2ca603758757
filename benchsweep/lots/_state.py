from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import islice
from types import MappingProxyType

from benchsweep.errors import LotRefused
from benchsweep.lots._order import random_order
from benchsweep.lots._refusals import check_event, check_open
from benchsweep.records import LotClosed, LotEvent, LotOpened, LotReplanned, LotState, ReelAdded, ReelExcluded

__all__ = ["state_of"]


def state_of(events: Sequence[LotEvent]) -> LotState:
    """Return where a lot stands after all entries of its history.

    The sample are the first reels of the random order that were not excluded, as many as the plan in force
    asks for. Of several results of a reel the last one counts.

    Parameters
    ----------
    events
        Oldest first.

    Raises
    ------
    LotRefused
        The history breaks its own rules, so that somebody has meddled with it or another program wrote it:
        the message names the entry, counted from 1.
    """
    if not events:
        raise LotRefused("there is no such lot: its history is empty", hint="Open the lot first.")
    state: LotState | None = None
    for number, event in enumerate(events, start=1):
        try:
            state = _after(state, event)
        except LotRefused as error:
            raise LotRefused(
                f"entry {number} of the history cannot stand there: {error.message}",
                hint="This program adds no such entry: find out who did, and restore it from a copy.",
            ) from error
    assert state is not None  # noqa: S101 - there is an entry
    return state


def _after(state: LotState | None, event: LotEvent) -> LotState:
    """Return the state after one more entry."""
    if state is None:
        if not isinstance(event, LotOpened):
            raise LotRefused("the lot was not opened before", hint="")
        check_open(event)
        order = random_order(event.reels, event.seed)
        return _derived(LotState(event, event.plan, order, sample=()))
    check_event(state, event)
    if isinstance(event, ReelAdded):
        return _derived(replace(state, added=(*state.added, event)))
    if isinstance(event, ReelExcluded):
        return _derived(replace(state, excluded=(*state.excluded, event)))
    if isinstance(event, LotReplanned):
        return _derived(replace(state, replanned=(*state.replanned, event), plan=event.plan))
    assert isinstance(event, LotClosed)  # noqa: S101 - `check_event` refuses a second opening
    return replace(state, closed=event)


def _derived(state: LotState) -> LotState:
    """Return the state with everything that follows from its entries."""
    excluded = {entry.reel for entry in state.excluded}
    left = (reel for reel in state.order if reel not in excluded)
    sample = tuple(islice(left, state.plan.sample_size))
    last = {entry.reel: entry for entry in state.added}
    counting = {reel: last[reel] for reel in sample if reel in last}
    conforms = {reel: entry.result.conforms for reel, entry in counting.items()}
    return replace(
        state,
        sample=sample,
        counting=MappingProxyType(counting),
        missing=tuple(reel for reel in sample if reel not in counting),
        nonconforming=tuple(reel for reel, good in conforms.items() if good is False),
        undecided=tuple(reel for reel, good in conforms.items() if good is None),
    )
