from __future__ import annotations

import shlex

from benchsweep.errors import LotRefused
from benchsweep.lots._decision import decision, unjudged_by_variables
from benchsweep.lots._names import refuse_double, refuse_empty, refuse_text, some
from benchsweep.lots._order import spare_reels
from benchsweep.lots._replanning import check_replanned, refuse_plan
from benchsweep.records import LotClosed, LotEvent, LotOpened, LotReplanned, LotState, ReelAdded, ReelExcluded

__all__ = ["check_added", "check_closed", "check_event", "check_excluded", "check_open", "check_reel"]

_RETEST = "Say with --retest why it is tested again; that result will count in place of the earlier one."
_FEWEST = 2


def check_event(state: LotState, event: LotEvent) -> None:
    """Refuse an entry that may not follow where the lot stands now.

    Of a record it is not known here of which product and lot it is: see `check_added`.

    Raises
    ------
    LotRefused
    """
    if isinstance(event, ReelAdded):
        check_added(state, event)
    elif isinstance(event, ReelExcluded):
        check_excluded(state, event)
    elif isinstance(event, LotReplanned):
        check_replanned(state, event)
    elif isinstance(event, LotClosed):
        check_closed(state, event)
    else:
        raise LotRefused(
            f"the lot {state.opened.lot} was opened on {state.opened.at}",
            hint="Give the new lot another name.",
        )


def check_open(event: LotOpened, *, size: int | None = None) -> None:
    """Refuse to open a lot of which the names, the size or the plan cannot be right.

    Parameters
    ----------
    size
        How many reels somebody said there are.

    Raises
    ------
    LotRefused
        A name is missing or cannot be told from another one; fewer than two reels; a reel that is named
        twice; `size` or the plan are for another number of reels; a resubmission of itself, or without a
        reason.
    """
    for what, text in (("lot", event.lot), ("supplier", event.supplier), ("product", event.product)):
        refuse_text(f"the name of the {what}", text)
    refuse_empty("who opens the lot", event.by, "Name who does it.")
    refuse_empty("the requirement", event.requirement, "Name what the reels are graded against.")
    refuse_text("the seed of the random order", event.seed)
    refuse_double(event.reels)
    count = len(event.reels)
    if count < _FEWEST:
        raise LotRefused(
            f"a lot of {count} reel{'' if count == 1 else 's'}: nothing can be drawn from it",
            hint="Qualify a single reel by itself, without a lot.",
        )
    if size is not None and size != count:
        raise LotRefused(
            f"the size of the lot is {size}, but {count} reels are named",
            hint="Count the reels and name each of them: a reel that is not on the list cannot be drawn.",
        )
    refuse_plan(event.plan, count)
    if event.resubmission_of == event.lot:
        raise LotRefused("a lot cannot be a resubmission of itself", hint="Give the sorted lot another name.")
    if event.resubmission_of:
        why = "Say what was done to the lot: sorted, repaired, tested whole."
        refuse_empty("the reason of the resubmission", event.reason, why)


def check_reel(state: LotState, reel: str, *, product: str, lot: str = "", retest_reason: str = "") -> None:
    """Refuse a reel that is to be measured, before it is.

    Parameters
    ----------
    product, lot
        What the record says, or will say, of its specimen; an empty lot says nothing.
    retest_reason
        Why an earlier result of the reel shall not count any more.

    Raises
    ------
    LotRefused
        Another product or lot; and as `check_added`.
    """
    _refuse_closed(state)
    opened = state.opened
    wrong, options = [], []
    if lot and lot != opened.lot:
        wrong.append(f"of the lot {lot}, not of {opened.lot}")
        options.append(f"--lot {shlex.quote(opened.lot)}")
    if product != opened.product:
        said = f"of the product {product}" if product else "of no product"
        wrong.append(f"{said}; the lot {opened.lot} is of {opened.product}")
        options.append(f"--product {shlex.quote(opened.product)}")
    if wrong:
        raise LotRefused(
            f"the record of {reel} says that it is {'; and that it is '.join(wrong)}",
            hint="Add the record of a reel of this lot and product; a wrong one is put right by `benchsweep "
            f"archive correct {' '.join(options)}`.",
        )
    _refuse_reel(state, reel, retest_reason)


def check_added(
    state: LotState, event: ReelAdded, *, product: str | None = None, lot: str | None = None
) -> None:
    """Refuse a record that may not become the result of a reel.

    Parameters
    ----------
    product, lot
        As for `check_reel`; None: not compared, as in a history, which was compared when it was written.

    Raises
    ------
    LotRefused
        The lot is closed; no reel of the lot, excluded, or not in the sample; it has a result and no reason
        is given to test it again, or a reason and no result; the record is in the lot already, with the same
        result or as what counts of another reel.
    """
    product = state.opened.product if product is None else product
    check_reel(state, event.reel, product=product, lot=lot or "", retest_reason=event.retest_reason)
    refuse_empty("who adds the record", event.by, "Name who does it.")
    for entry in state.added:
        if entry.record == event.record and _is_taken(state, entry, event):
            raise LotRefused(
                f"the record {event.path} is in the lot already, as the result of {entry.reel}",
                hint="Add the record of another measurement.",
            )


def check_excluded(state: LotState, event: ReelExcluded) -> None:
    """Refuse an exclusion.

    A reel that does not conform cannot be excluded, whatever the reason: it would not count any more. If its
    measurement was wrong, the reel is tested again.

    Raises
    ------
    LotRefused
        The lot is closed; no reel of the sample, or excluded before; it does not conform; no reel is left
        that could take its place; no reason, or nobody who excludes it.
    """
    _refuse_closed(state)
    _refuse_not_in_sample(state, event.reel)
    refuse_empty(
        f"the reason for which {event.reel} is excluded", event.reason, "Say why it cannot be tested."
    )
    refuse_empty("who excludes the reel", event.by, "Name who does it.")
    if event.reel in state.nonconforming:
        raise LotRefused(
            f"the reel {event.reel} does not conform: excluded, it would not count any more",
            hint="It stays in the sample. If the measurement was wrong, test the reel again and say why.",
        )
    if not spare_reels(state):
        raise LotRefused(
            f"no reel is left that could take the place of {event.reel}: the sample needs "
            f"{state.plan.sample_size} of {len(state.order)} reels, {len(state.excluded)} are excluded",
            hint="Test it after all; or open a new lot without the reels that cannot be tested, as a "
            "resubmission of this one.",
        )


def check_closed(state: LotState, event: LotClosed | None = None) -> None:
    """Refuse to close a lot.

    Parameters
    ----------
    event
        The entry that would close it; None: it is only asked whether the sample can be judged.

    Raises
    ------
    LotRefused
        It is closed; a reel of the sample has no result, or one that is undecided; the plan cannot decide;
        the entry says something else than the plan does.
    """
    _refuse_closed(state)
    for reels, why, hint in (
        (
            state.missing,
            "no result yet",
            "Test them, or exclude a reel that cannot be tested, with the reason.",
        ),
        (
            state.undecided,
            "a result that is undecided",
            "Test them again, with the reason, until it is decided.",
        ),
    ):
        if reels:
            have = "has" if len(reels) == 1 else "have"
            raise LotRefused(
                f"{len(reels)} of {len(state.sample)} reels {have} {why}: {some(reels)}", hint=hint
            )
    replan = "Replan the lot for inspection by attributes: the order of the reels stays, the sample grows."
    if unjudged := unjudged_by_variables(state):
        reel, why = next(iter(unjudged.items()))
        raise LotRefused(f"variables cannot judge the reel {reel}: {why}", hint=replan)
    if event is None:
        return
    refuse_empty("who closes the lot", event.by, "Name who does it.")
    found = decision(state, event.variables)
    if found.accepted is None:
        raise LotRefused(f"the plan decides nothing: {found.words}", hint=replan)
    said = (event.accepted, event.ends_reduced, event.nonconforming)
    if said != (found.accepted, found.ends_reduced, state.nonconforming):
        raise LotRefused(
            f"the decision is not that of the plan, which says: {found.words}",
            hint="Close it as the plan says.",
        )


def _is_taken(state: LotState, entry: ReelAdded, event: ReelAdded) -> bool:
    """Tell whether a record cannot be added again: what was corrected of it may have made another result.

    It is then as good as another measurement of its reel, or belongs to another reel once it does not count
    for the first any more.
    """
    if entry.reel == event.reel:
        return entry.result == event.result
    return state.counting.get(entry.reel) is entry


def _refuse_closed(state: LotState) -> None:
    if state.closed is not None:
        told = "accepted" if state.closed.accepted else "not accepted"
        raise LotRefused(
            f"the lot {state.opened.lot} was closed on {state.closed.at} by {state.closed.by}, {told}",
            hint="Nothing can be added any more. Open a resubmission if the lot was sorted or repaired.",
        )


def _refuse_not_in_sample(state: LotState, reel: str) -> None:
    for entry in state.excluded:
        if entry.reel == reel:
            raise LotRefused(
                f"the reel {reel} was excluded on {entry.at} by {entry.by}: {entry.reason}",
                hint=f"Test the reel that took its place. {_wanted(state)}",
            )
    if reel not in state.order:
        raise LotRefused(f"the lot {state.opened.lot} has no reel {reel}", hint=_wanted(state))
    if reel not in state.sample:
        raise LotRefused(
            f"the reel {reel} was not drawn: the sample of the lot {state.opened.lot} are other reels",
            hint=f"Reels that somebody picked say nothing of the others. {_wanted(state)}",
        )


def _refuse_reel(state: LotState, reel: str, retest_reason: str) -> None:
    _refuse_not_in_sample(state, reel)
    before = state.counting.get(reel)
    if before is not None and not retest_reason.strip():
        raise LotRefused(
            f"the reel {reel} has a result already, of {before.at}: {before.result.outcome}", hint=_RETEST
        )
    if before is None and retest_reason.strip():
        raise LotRefused(
            f"the reel {reel} has no result that could be replaced",
            hint="Add it without a reason of a retest.",
        )


def _wanted(state: LotState) -> str:
    if not state.missing:
        return "Every reel of the sample has a result."
    return f"Reels of the sample without a result: {some(state.missing)}."
