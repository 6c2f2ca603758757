"""What a person may change of an open lot, with a reason: a reel left out, another plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from benchsweep.archive.lots import LotFile
from benchsweep.errors import LotRefused
from benchsweep.lots import check_excluded, check_replanned
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.lots._histories import append_to, local_archive, state_in
from benchsweep.qualification.lots._inspection import LotKind
from benchsweep.qualification.lots._plan import make_plan, refuse_nonconformities
from benchsweep.qualification.lots._severity import choose_severity
from benchsweep.qualification.lots._variables import variables_of
from benchsweep.qualification.lots._view import LotView, whole_view
from benchsweep.records import LotEvent, LotReplanned, LotState, ReelExcluded, SamplingMethod, Severity

__all__ = ["exclude_reel", "replan_lot"]


def exclude_reel(
    folder: Path, lot: str, reel: str, *, by: str, reason: str, with_result: bool = False
) -> LotView:
    """Take a reel out of the sample; the next one of the random order takes its place.

    Parameters
    ----------
    with_result
        Whether a result that conforms is taken out with it. It cannot come back; that it was taken out is
        told as a doubt of the lot from then on.

    Raises
    ------
    UnknownName
        There is no such lot.
    LotRefused
        See `lots.check_excluded`: a reel that does not conform cannot be excluded. It conforms, and that is
        not to be taken out with it.
    UsageError
        Nobody does it, or for no reason.
    ArchiveError
        The history cannot be read or written.
    """
    _check_words(by, reason)
    event = ReelExcluded(utc_now("microseconds"), by, reel, reason)

    def fits(state: LotState) -> None:
        check_excluded(state, event)
        entry = state.counting.get(reel)
        if entry is not None and entry.result.conforms and not with_result:
            raise LotRefused(
                f"the reel {reel} was tested and conforms ({entry.result.outcome}): excluded, its result is "
                "taken out and cannot come back",
                hint="If it must not count, say so with --with-result; the lot will tell. If the measurement "
                "was wrong, test the reel again and say why with --retest.",
            )

    return _appended(folder, lot, event, fits)


def replan_lot(  # noqa: PLR0913 - those of the plan, all named
    folder: Path,
    lot: str,
    *,
    by: str,
    reason: str,
    method: SamplingMethod = "attributes",
    level: str | None = None,
    aql_percent: float | None = None,
    severity: Severity | None = None,
    limiting_percent: float | None = None,
    consumer_risk: float = 0.10,
    characteristics: Sequence[str] = (),
) -> LotView:
    """Take another plan for an open lot; the random order and all results stay.

    The arguments of the plan are those of `plan_sampling`. A severity that is not given is the one in
    force; another one must be possible under the switching rules, see `open_lot`.

    Raises
    ------
    UnknownName
        There is no such lot.
    LotRefused
        See `lots.check_replanned`: with results known a plan cannot become easier.
    UsageError
        There is no such plan; nobody does it, or for no reason.
    ArchiveError
        The history cannot be read or written.
    """
    _check_words(by, reason)
    root = local_archive(folder)
    file = LotFile(root, lot)
    state = state_in(file, file.read())
    plan = make_plan(
        len(state.order),
        method=method,
        level=level,
        aql_percent=aql_percent,
        severity=severity or state.plan.severity,
        limiting_percent=limiting_percent,
        consumer_risk=consumer_risk,
        characteristics=characteristics,
    )
    refuse_nonconformities(plan)
    at = utc_now("microseconds")
    if plan.severity is not None and plan.severity is not state.plan.severity:
        kind = LotKind.of(state, plan)
        again = bool(state.opened.resubmission_of)
        choose_severity(root, kind, plan.severity, at=at, by=by, reason=reason, again=again)
    event = LotReplanned(at, by, plan, reason)
    return _appended(folder, lot, event, lambda now: check_replanned(now, event, variables_of(now)))


def _check_words(by: str, reason: str) -> None:
    check_text(by, "who does it", hint="Name who does it.")
    check_text(reason, "the reason", hint="Say why.")


def _appended(folder: Path, lot: str, event: LotEvent, check: Callable[[LotState], None]) -> LotView:
    root = local_archive(folder)
    file = LotFile(root, lot)
    history = append_to(file, event, lambda events: check(state_in(file, events)))
    return whole_view(folder, file, history)
