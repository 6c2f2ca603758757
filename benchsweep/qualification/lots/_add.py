"""Records become results of reels."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from benchsweep import archive, limits
from benchsweep.archive.lots import LotFile
from benchsweep.errors import LotRefused
from benchsweep.lots import check_added
from benchsweep.lots import check_reel as check_reel_of
from benchsweep.qualification._keep import keep_verdicts, told_of
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.lots._histories import Unread, append_to, local_archive, state_in
from benchsweep.qualification.lots._neighbours import lots_that_use, unread_words
from benchsweep.qualification.lots._reading import (
    LotRecord,
    ReadReel,
    conditions_told,
    grade_reel,
    missing_conditions,
    read_for_lot,
)
from benchsweep.qualification.lots._requirement_text import RequirementsInForce
from benchsweep.qualification.lots._view import LotView, read_lot, whole_view
from benchsweep.records import LotEvent, LotState, ReelAdded

__all__ = ["add_record", "check_reel", "lot_requirement"]


def check_reel(folder: Path, lot: str, reel: str, *, product: str, retest_reason: str = "") -> LotView:
    """Refuse a reel that is to be measured for a lot, before it is; return the lot.

    Parameters
    ----------
    product
        What its record will say that it is.

    Raises
    ------
    UnknownName
        There is no such lot.
    LotRefused
        The lot is closed; another product; no reel of the sample; it has a result and no reason is given to
        test it again; the requirement has another text now.
    ArchiveError
        A history cannot be read.
    """
    view = read_lot(folder, lot)
    check_reel_of(view.state, reel, product=product, retest_reason=retest_reason)
    RequirementsInForce().in_force(view.state.opened)
    return view


def lot_requirement(view: LotView) -> limits.Requirement:
    """Return what reels of a lot are graded against.

    Raises
    ------
    LotRefused
        It has another text now than when the lot was opened, or there is none of that name any more.
    """
    return RequirementsInForce().in_force(view.state.opened)


def add_record(
    folder: Path,
    lot: str,
    record: Path,
    *,
    by: str,
    retest_reason: str = "",
    reuse_reason: str = "",
    once: bool = False,
) -> tuple[LotView, ReelAdded]:
    """Take a record as the result of the reel that it names as its specimen.

    It is graded against the requirement of the lot, with the text that this had when the lot was opened, by
    the decision rule of the lot; the verdict is kept in the archive. What was corrected of the record counts
    as corrected.

    Parameters
    ----------
    folder
        The archive; the record must lie in it.
    by
        Who adds it.
    retest_reason
        Why an earlier result of this reel does not count any more; empty for the first.
    reuse_reason
        Why a record that counts in another lot of the archive already counts in this one, too; it is kept
        and told as a doubt. Empty: such a record is refused. A resubmission makes no difference: records of
        the lot that was sorted or repaired say nothing of what was done to it, unless somebody says why.
    once
        Return the entry that is there when this very record is what counts of its reel already, as after a
        run that was killed; otherwise it is refused.

    Raises
    ------
    UnknownName
        There is no such lot.
    LotRefused
        The lot is closed; the record is of another product or lot, of no reel of the sample, or in the lot
        already; the reel has a result and no reason is given to test it again; length or temperature are
        not known; it was withdrawn, or its sweeps were reduced again; it counts in another lot and no reason
        is given for that, or one is given and it does not; the requirement has another text now; the clock
        was set back.
    ArchiveError, UsageError, LimitNotDefined
        Record or history cannot be read, graded or written.
    """
    root = local_archive(folder)
    check_text(by, "who adds the record", hint="Name who does it.")
    check_text(retest_reason, "the reason of the retest", may_be_empty=True)
    check_text(reuse_reason, "the reason why the record counts twice", may_be_empty=True)
    file = LotFile(root, lot)
    history = file.history()
    state = state_in(file, history.events)
    requirement = RequirementsInForce().in_force(state.opened)
    path = _path_within(root, record)
    read = read_for_lot(record)
    if once and (entry := _same_record(state, read)) is not None:
        return read_lot(folder, lot), entry
    _refuse_record(state, read, requirement, retest_reason)
    unread: Unread = []
    also_in = _other_lots(root, lot, read, reuse_reason, unread)
    if also_in and history.version == 1:
        raise LotRefused(
            f"the lot {lot} was opened by an earlier version of this program, which kept no reason why a "
            "record counts in two lots",
            hint="Measure the reel again.",
        )
    graded = grade_reel(read, requirement, state)
    _keep(root, graded, requirement, state, by)
    specimen = read.measurement.specimen
    event = ReelAdded(
        at=utc_now("microseconds"),
        by=by,
        station=read.measurement.station,
        reel=specimen.identifier,
        record=read.content_hash,
        path=path,
        result=graded.result,
        retest_reason=retest_reason,
        also_in=also_in,
        reuse_reason=reuse_reason,
    )

    def fits(events: tuple[LotEvent, ...]) -> None:
        check_added(state_in(file, events), event, product=specimen.product, lot=specimen.lot)

    view = whole_view(folder, file, append_to(file, event, fits))
    return replace(view, doubts=(*view.doubts, *unread_words(unread))), event


def _other_lots(root: Path, lot: str, read: LotRecord, reason: str, unread: Unread) -> tuple[str, ...]:
    """Return the other lots in which a record counts; refuse it when there are any and no reason is given."""
    uses = lots_that_use(root, [read.content_hash], besides=lot, unread=unread)
    reel = read.measurement.specimen.identifier
    if uses and not reason.strip():
        counts = " and ".join(f"as the result of {use.reel} in the lot {use.lot}" for use in uses)
        raise LotRefused(
            f"{read.source}: this record of {reel} counts already, {counts}",
            hint="One measurement says nothing of two lots: measure the reel again. If it is the same reel, "
            "say so with --reuse and the reason; both lots will tell.",
        )
    if reason.strip() and not uses:
        raise LotRefused(
            f"{read.source}: this record of {reel} counts in no other lot",
            hint="Add it without a reason for using it again.",
        )
    return tuple(dict.fromkeys(use.lot for use in uses))


def _keep(root: Path, graded: ReadReel, requirement: limits.Requirement, state: LotState, by: str) -> None:
    """Keep the verdict in the archive, once."""
    named, (verdict,) = graded.record.content_hash, graded.qualified.verdicts
    # A record in a folder of its own belongs to that as long as nothing was noted elsewhere.
    own = archive.local_path(archive.root_of(graded.record.source))
    folder = root
    if own is not None and any(archive.has_drawer(own, name) for name in (archive.NOTES, archive.GRADINGS)):
        folder = own
    if any(kept.verdict == verdict for kept in archive.kept_verdicts(folder, named, damaged=[])):
        return
    told = told_of(conditions=conditions_told(state))
    keep_verdicts([(named, verdict)], (requirement,), folder=folder, by=by, told=told)


def _same_record(state: LotState, read: LotRecord) -> ReelAdded | None:
    entry = state.counting.get(read.measurement.specimen.identifier)
    return entry if entry is not None and entry.record == read.content_hash else None


def _refuse_record(
    state: LotState, read: LotRecord, requirement: limits.Requirement, retest_reason: str
) -> None:
    """Refuse a record before it is graded."""
    measurement = read.measurement
    specimen = measurement.specimen
    check_reel_of(
        state,
        specimen.identifier,
        product=specimen.product,
        lot=specimen.lot,
        retest_reason=retest_reason,
    )
    if read.withdrawn:
        raise LotRefused(f"{read.source}: {read.withdrawn}", hint="Add another record of the reel.")
    if read.superseded:
        raise LotRefused(f"{read.source}: {read.superseded}", hint="Add that one.")
    missing = missing_conditions(
        requirement,
        length_m=specimen.length_m,
        temperature_degc=measurement.ambient.get("temperature_degc"),
    )
    if missing:
        raise LotRefused(
            f"the record of {specimen.identifier} does not tell {' nor '.join(missing)}: {requirement.name} "
            "cannot be applied",
            hint="Put it right with `benchsweep archive correct`, --length-m or --temperature-degc, and add "
            "it again.",
        )


def _path_within(root: Path, record: Path) -> str:
    """Return the name of a record within its archive."""
    if archive.is_url(record) or not record.exists():
        archive.refuse_file(record)
    try:
        return record.resolve().relative_to(root.resolve()).as_posix()
    except ValueError:
        raise LotRefused(
            f"{record} does not lie in the archive {root} of the lot",
            hint="Copy it there, or name the archive that it lies in with --archive.",
        ) from None
