"""Open a lot under the severity that the switching rules ask for."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchsweep import limits
from benchsweep.archive.lots import LotFile, SeenLots, create
from benchsweep.errors import LotRefused
from benchsweep.lots import check_names, check_open
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._requirements import told_conditions
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.lots._histories import Unread, local_archive, state_in
from benchsweep.qualification.lots._inspection import LotKind
from benchsweep.qualification.lots._neighbours import seen_lots, seen_wrong, unread_words
from benchsweep.qualification.lots._plan import make_plan, refuse_nonconformities
from benchsweep.qualification.lots._requirement_text import check_requirement, requirement_digest
from benchsweep.qualification.lots._severity import choose_severity
from benchsweep.qualification.lots._view import LotView, read_lot
from benchsweep.records import LotOpened, SamplingMethod, Severity

__all__ = ["open_lot"]


def open_lot(  # noqa: PLR0913 - each is a thing of its own, and all but two are named
    folder: Path,
    lot: str,
    *,
    supplier: str,
    product: str,
    reels: Sequence[str],
    requirement: limits.Requirement,
    by: str,
    method: SamplingMethod = "attributes",
    level: str | None = None,
    aql_percent: float | None = None,
    severity: Severity | None = None,
    limiting_percent: float | None = None,
    consumer_risk: float = 0.10,
    characteristics: Sequence[str] = (),
    decision_rule: str = "simple",
    construction: str = "",
    seed: str | None = None,
    reason: str = "",
    resubmission_of: str = "",
) -> LotView:
    """Open a lot: its history begins, and with it the random order of its reels is fixed.

    It keeps what the other lots of the archive are (see `SeenLots`), and what is doubtful about them: one
    that cannot be read, is gone or was cut off since, or of which the place is in doubt among those that the
    severity follows from.

    Parameters
    ----------
    folder
        The archive, which is made if it is missing.
    reels
        Every reel of the lot, by the name that its record will have as specimen.
    requirement
        What reels are graded against; its text of today holds for the whole lot.
    severity
        None: as the switching rules ask for after the lots of the same supplier, product, requirement,
        method, AQL and level that were closed. Another one, reduced inspection, and any lot while inspection
        is discontinued need a `reason`; reduced inspection also a switching score that allows it.
    seed
        What the random order is made from; None: chance.
    resubmission_of
        A lot that was not accepted, now sorted or repaired.

    Raises
    ------
    LotRefused
        Names, size, plan or severity cannot be right, or there is a lot of that name, or was one that is
        gone.
    UsageError
        There is no such plan, decision rule or construction.
    ArchiveError
        A history cannot be read, or this one not be written.
    """
    root = local_archive(folder)
    for text, what in ((by, "who opens the lot"), (reason, "the reason"), (resubmission_of, "the lot")):
        check_text(text, what, may_be_empty=True)
    limits.Decision.parse(decision_rule)
    told_conditions(None, construction or None, extrapolate_cold=False)
    check_requirement(requirement)
    wanted: dict[str, Any] = {
        "method": method,
        "level": level,
        "aql_percent": aql_percent,
        "limiting_percent": limiting_percent,
        "consumer_risk": consumer_risk,
        "characteristics": characteristics,
    }
    # By normal inspection first, for what is wrong with it and for the lots that it belongs to.
    plan = make_plan(len(reels), **wanted)
    at = utc_now("microseconds")
    unread: Unread = []
    seen = seen_lots(root, unread)
    _refuse_lost(seen, unread, lot)
    doubts = [*unread_words(unread), *(words for *_, words in seen_wrong(seen, unread))]
    kind = LotKind(supplier, product, requirement.name, plan.method, plan.level, plan.aql_percent)
    refuse_nonconformities(plan)
    if resubmission_of:
        _check_resubmission(root, resubmission_of, supplier, product)
    because = "zero acceptance knows no switching rules"
    if plan.severity is not None:
        used, because, of_order = choose_severity(
            root, kind, severity, at=at, by=by, reason=reason, again=bool(resubmission_of)
        )
        plan = make_plan(len(reels), **wanted, severity=used)
        doubts += of_order
    event = LotOpened(
        at=at,
        by=by,
        lot=lot,
        supplier=supplier,
        product=product,
        reels=tuple(reels),
        requirement=requirement.name,
        edition=requirement.edition,
        requirement_digest=requirement_digest(requirement.texts),
        decision_rule=decision_rule,
        construction=construction,
        plan=plan,
        seed=secrets.token_hex(16) if seed is None else seed,
        seed_given=seed is not None,
        severity_because=because,
        resubmission_of=resubmission_of,
        reason=reason,
        earlier=tuple(each for each in seen.news() if each.lot != lot),
        doubts=tuple(doubts),
    )
    check_open(event)
    check_names(event, seen.lots)
    create(root, event)
    return read_lot(folder, lot)


def _refuse_lost(seen: SeenLots, unread: Unread, lot: str) -> None:
    """Refuse the name of a lot that is gone: its file may be restored, and this is not that one."""
    for _, each, words in seen_wrong(seen, unread):
        if each.lot == lot:
            raise LotRefused(words, hint="Restore its file from a copy. A new lot needs another name.")


def _check_resubmission(folder: Path, lot: str, supplier: str, product: str) -> None:
    file = LotFile(folder, lot)
    before = state_in(file, file.read())
    if before.closed is None or before.closed.accepted:
        why = "is still open" if before.closed is None else "was accepted"
        raise LotRefused(
            f"the lot {lot} {why}: there is nothing to submit again",
            hint="Only a lot that was not accepted is submitted again.",
        )
    if (before.opened.supplier, before.opened.product) != (supplier, product):
        raise LotRefused(
            f"the lot {lot} is {before.opened.product} of {before.opened.supplier}",
            hint="A resubmission is the same lot, sorted or repaired.",
        )
