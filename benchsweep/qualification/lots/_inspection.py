"""Which severity the switching rules ask for, from the lots that were closed before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchsweep.errors import ArchiveError, ArchiveUnreachable, UsageError
from benchsweep.lots import CLOCKS_APART_S, clock_doubts, seconds_before, would_be_accepted
from benchsweep.qualification.lots._histories import Root
from benchsweep.qualification.lots._skim import skimmed_decisions
from benchsweep.records import LotOpened, LotState, SamplingPlan, Severity
from benchsweep.statistics.sampling import (
    START,
    Inspection,
    after_lot,
    aqls,
    attributes_plan,
    directed,
    reduced_agreed,
    resumed,
)

__all__ = ["LotKind", "inspection_now", "inspection_words"]


_REFUSED = (
    "this lot was not accepted: return it; or have every reel of it sorted or repaired and open it again "
    "under another name with --resubmission-of {lot}"
)


@dataclass(frozen=True, slots=True)
class LotKind:
    """Lots that follow each other under the switching rules: everything of this is the same.

    Parameters
    ----------
    supplier, product, requirement
        Whose, of what, against what.
    method, level, aql_percent
        Of the plan in force.
    """

    supplier: str
    product: str
    requirement: str
    method: str
    level: str
    aql_percent: float | None

    @classmethod
    def of(cls, state: LotState, plan: SamplingPlan | None = None) -> LotKind:
        """Return the kind of a lot; with `plan` as if that were the one in force."""
        opened, used = state.opened, plan or state.plan
        return cls(
            opened.supplier, opened.product, opened.requirement, used.method, used.level, used.aql_percent
        )


def inspection_now(folder: Root, kind: LotKind, *, now: str = "") -> tuple[Inspection, int, tuple[str, ...]]:
    """Return where the switching rules stand after all lots of a kind, how many were closed, and doubts.

    First submissions alone count ("original inspection", MIL-STD-105E 4.7), in the order in which they were
    closed. What a person decided when a lot was opened, with a reason, takes effect then: inspection is
    resumed after it was discontinued, becomes reduced, or more severe.

    Parameters
    ----------
    now
        When the next lot is opened, ISO 8601: the doubts are lots whose place in the order may be wrong, in
        words. Empty: none are looked for.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        A history cannot be read: what it says is needed.
    """
    steps: list[tuple[str, int, str, LotState]] = []
    states = list(_first_submissions(folder, kind))
    for state in states:
        opened, closed = state.opened, state.closed
        if LotKind.of(state, opened.plan) == kind:
            steps.append((opened.at, 1, opened.lot, state))
        if closed is not None and LotKind.of(state) == kind:
            steps.append((closed.at, 0, opened.lot, state))
    inspection, count = START, 0
    for _, is_opening, _, state in sorted(steps, key=lambda step: step[:3]):
        if is_opening:
            inspection = _after_opening(inspection, state)
        else:
            inspection, count = _after_closing(inspection, state), count + 1
    return inspection, count, _order_doubts(states, now) if now else ()


def _order_doubts(states: Sequence[LotState], now: str) -> tuple[str, ...]:
    """Return which lots may stand at a wrong place among those that count, in words.

    Lots count in the order of the times at which they were closed. A clock that was wrong changes it: a lot
    that has an entry of later than now, was closed before it was opened, or was opened earlier than one that
    it saw.
    """
    told: list[str] = []
    opened_at = {state.opened.lot: state.opened.at for state in states}
    for state in states:
        opened, closed = state.opened, state.closed
        entries = (opened, *state.replanned, *(() if closed is None else (closed,)))
        latest = max((each.at for each in entries), key=datetime.fromisoformat)
        if seconds_before(now, latest) > CLOCKS_APART_S:
            why = f"has an entry of {latest}, which is later than now"
        elif clock_doubts(entries):
            what = "replanned" if closed is None else "closed"
            why = f"was {what} on {entries[-1].at}, before an earlier entry of it"
        elif later := _seen_later(opened, opened_at):
            why = f"was opened on {opened.at}, before the lot {later}, which was there already"
        else:
            continue
        told.append(
            f"a clock was wrong: the lot {opened.lot} {why}; its place in the order of lots is in "
            "doubt, and so is the severity"
        )
    return tuple(told)


def _seen_later(opened: LotOpened, opened_at: Mapping[str, str]) -> str:
    """Return a lot that was there when this one was opened, though its time is later; empty: none."""
    return next(
        (
            seen.lot
            for seen in opened.earlier
            if seen.lot in opened_at and seconds_before(opened.at, opened_at[seen.lot]) > CLOCKS_APART_S
        ),
        "",
    )


def _first_submissions(folder: Root, kind: LotKind) -> Iterator[LotState]:
    def may_fit(opened: LotOpened) -> bool:
        names = ("supplier", "product", "requirement")
        return not opened.resubmission_of and all(
            getattr(opened, name) == getattr(kind, name) for name in names
        )

    yield from skimmed_decisions(folder, may_fit)


def inspection_words(folder: Root, state: LotState) -> tuple[str, ...]:
    """Return what follows from a lot: what is done with one that was not accepted; how the next is inspected.

    The latter after all lots of its kind, see `LotKind`; nothing for zero acceptance. Where the history of
    another lot cannot be read, the words say so.
    """
    refused = state.closed is not None and not state.closed.accepted
    own = (_REFUSED.format(lot=state.opened.lot),) if refused else ()
    if state.plan.method == "zero-acceptance":
        return own
    try:
        inspection, count, _ = inspection_now(folder, LotKind.of(state))
    except ArchiveUnreachable:
        raise
    except ArchiveError as error:  # of another lot: this one is what was asked for
        return (*own, f"nobody knows how the next lot is to be inspected: {error.message}")
    closed = "no lot" if not count else "1 lot" if count == 1 else f"{count} lots"
    closed += " of this supplier, product, requirement, method, level and AQL closed so far"
    return (*own, f"the next lot: {inspection.words} ({closed})")


def _after_opening(inspection: Inspection, state: LotState) -> Inspection:
    """Return where the rules stand after what a person decided when a lot was opened."""
    severity = state.opened.plan.severity
    if severity is None or not state.opened.reason.strip():
        return inspection
    if inspection.discontinued:
        return resumed(inspection)
    if severity is Severity.REDUCED and inspection.reduced_possible:
        return reduced_agreed(inspection)
    return directed(inspection, severity) if _is_more(severity, inspection.severity) else inspection


def _is_more(first: Severity, second: Severity) -> bool:
    order = (Severity.REDUCED, Severity.NORMAL, Severity.TIGHTENED)
    return order.index(first) > order.index(second)


def _after_closing(inspection: Inspection, state: LotState) -> Inspection:
    closed = state.closed
    assert closed is not None  # noqa: S101 - only closed lots come here
    return after_lot(
        inspection,
        plan=state.plan,
        nonconforming=len(closed.nonconforming),
        accepted=closed.accepted,
        ends_reduced=closed.ends_reduced,
        tighter_accepted=_tighter_accepted(state),
    )


def _tighter_accepted(state: LotState) -> bool | None:
    """Tell whether the lot would have been accepted with the next smaller AQL (switching score)."""
    plan = state.plan
    if plan.method != "attributes" or plan.severity is not Severity.NORMAL or plan.aql_percent is None:
        return None
    smaller = [aql for aql in aqls() if aql < plan.aql_percent]
    if not smaller:
        return None
    try:
        tighter = attributes_plan(
            plan.lot_size, level=plan.level, aql_percent=smaller[-1], severity=Severity.NORMAL
        )
    except UsageError:  # no such plan in the table
        return None
    return would_be_accepted(state, tighter)
