"""Measure a reel of a lot at the bench: asked before the bench is opened, added once the record is there."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchsweep import archive, limits
from benchsweep.archive.lots import LotFile
from benchsweep.archive.unfinished import holds_work
from benchsweep.errors import BenchsweepError, LotRefused, UsageError
from benchsweep.lots import check_reel as check_reel_of
from benchsweep.qualification._qualify import unfinished_folder
from benchsweep.qualification.lots._add import add_record
from benchsweep.qualification.lots._histories import state_in
from benchsweep.qualification.lots._reading import conditions_told, missing_conditions
from benchsweep.qualification.lots._requirement_text import RequirementsInForce
from benchsweep.qualification.lots._view import LotView
from benchsweep.records import LotState, ReelAdded

__all__ = ["LotRun", "lot_run"]


@dataclass(frozen=True, slots=True, eq=False)
class LotRun:
    """A reel that is measured for a lot.

    Parameters
    ----------
    folder, lot, reel
        The archive; names of the lot and of the reel.
    product
        What the record is to say.
    requirement, decision_rule, conditions
        By which it is graded.
    by, retest_reason
        Who adds it; why an earlier result does not count any more.
    """

    folder: Path
    lot: str
    reel: str
    product: str
    requirement: limits.Requirement
    decision_rule: str
    conditions: limits.Conditions
    by: str
    retest_reason: str = ""

    def add(self, record: Path) -> tuple[LotView, ReelAdded]:
        """Take the record as the result of the reel, once: after a run that was killed it may be already.

        Raises
        ------
        LotRefused, ArchiveError, UsageError
            As `add_record`; the hint says how it is added later.
        """
        try:
            return add_record(
                self.folder, self.lot, record, by=self.by, retest_reason=self.retest_reason, once=True
            )
        except BenchsweepError as error:
            error.hint = (
                f"{error.hint} The record is archived, nothing is to be measured again: "
                f"`benchsweep lot add` adds {record}."
            ).strip()
            raise


def lot_run(  # noqa: PLR0913 - what is told of one reel, all but three named
    folder: Path,
    lot: str,
    reel: str,
    *,
    product: str = "",
    length_m: float | None,
    temperature_degc: float | None,
    by: str,
    retest_reason: str = "",
    station: str = "",
) -> LotRun | None:
    """Return how a reel is measured for a lot; None where the archive has no lot of that name.

    Parameters
    ----------
    product
        What somebody says that the reel is; empty: what the lot is of.
    length_m, temperature_degc
        Of the length that is measured, as the record will have them.
    by
        Who measures and adds it.
    station
        Its name: an interrupted run there goes on although the reel may have got its result already.

    Raises
    ------
    LotRefused
        What would refuse the record in the end: a closed lot, another product, no reel of the sample, a
        result that is there, no length or temperature, another text of the requirement.
    UsageError
        Nobody adds it.
    ArchiveError
        The history cannot be read.
    """
    file = LotFile(folder, lot)
    if not lot or archive.local_path(folder) is None or not file.exists():
        if retest_reason:
            raise LotRefused(
                f"{folder}: there is no lot {lot}, of which a reel could be tested again",
                hint="`benchsweep lot list` tells which lots there are.",
            )
        return None
    state = state_in(file, file.read())
    opened = state.opened
    if product and product != opened.product:
        raise LotRefused(
            f"the lot {lot} is of {opened.product}; {reel} is said to be of the product {product}",
            hint="Leave --product out: the record gets that of the lot. Or give the --lot of this product.",
        )
    resumes = holds_work(unfinished_folder(folder, station, reel)) if station else False
    _refuse(state, reel, product or opened.product, retest_reason, resumes=resumes)
    if not by.strip():
        raise UsageError(
            f"nobody is named who adds the record to the lot {lot}", hint="Give --operator your name."
        )
    requirement = RequirementsInForce().in_force(opened)
    missing = missing_conditions(requirement, length_m=length_m, temperature_degc=temperature_degc)
    if missing:
        raise LotRefused(
            f"{requirement.name}, which the lot {lot} is graded against, needs to know of {reel} "
            f"{' and '.join(missing)}",
            hint=_how_told(length_m, temperature_degc),
        )
    return LotRun(
        folder=folder,
        lot=lot,
        reel=reel,
        product=opened.product,
        requirement=requirement,
        decision_rule=opened.decision_rule,
        conditions=conditions_told(state),
        by=by,
        retest_reason=retest_reason,
    )


def _how_told(length_m: float | None, temperature_degc: float | None) -> str:
    """Return how what is missing is told, and nothing of what was."""
    how = [] if length_m is not None else ["--length-m"]
    if temperature_degc is None:
        how.append("--ambient temperature_degc=… with the temperature of the specimen")
    return f"Give {' and '.join(how)}."


def _refuse(state: LotState, reel: str, product: str, retest_reason: str, *, resumes: bool) -> None:
    if resumes and not retest_reason and reel in state.counting:
        # The run may have been killed after it added its record: adding finds that out.
        retest_reason = "an interrupted run"
    check_reel_of(state, reel, product=product, retest_reason=retest_reason)
