"""Verdicts as columns of a table, the same for every command that writes one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from benchsweep import archive
from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.records import Verdict, VerdictRow

__all__ = ["NOTHING_BEFORE", "VerdictsOfRecord", "kept_before", "verdict_columns"]

NOTHING_BEFORE: Mapping[str, str] = MappingProxyType({})
"""No kept grading."""

_WHOLE = (
    *("record", "content_hash", "specimen", "lot", "product", "length_m", "created_at"),
    *("requirement", "edition", "decision_rule", "budget", "verdict", "verdict_before"),
    *("doubts", "wiring", "corrections"),
)
_ROW = (
    *("parameter", "end", "pairs", "outcome", "standing", "note", "worst_margin", "unit", "frequency_hz"),
    *("value", "limit", "expanded_uncertainty", "uncertainty_low", "uncertainty_high", "guard_band"),
)
_NUMBERS = frozenset(
    (
        *("length_m", "worst_margin", "frequency_hz", "value", "limit"),
        *("expanded_uncertainty", "uncertainty_low", "uncertainty_high", "guard_band"),
    )
)


@dataclass(frozen=True, slots=True)
class VerdictsOfRecord:
    """The verdicts of one record, and what is to be told beside them.

    Parameters
    ----------
    verdicts
        Verdict and edition of its requirement.
    content_hash
        Of the record; empty when unfinished or nowhere.
    lot, product, created_at
        Of the record, as corrected.
    corrections
        What was corrected of it afterwards, in words.
    before
        Requirement -> outcome of the newest grading that was kept before.
    """

    verdicts: Sequence[tuple[Verdict, str]]
    content_hash: str = ""
    lot: str = ""
    product: str = ""
    created_at: str = ""
    corrections: Sequence[str] = ()
    before: Mapping[str, str] = field(default_factory=lambda: NOTHING_BEFORE)


def kept_before(
    record: archive.Source, content_hash: str, *, but: archive.Source | None = None
) -> tuple[Mapping[str, str], str]:
    """Return the outcome of the newest kept grading against each requirement, and why it is not known.

    Parameters
    ----------
    content_hash
        Of the record; of one that is empty nothing is kept.
    but
        A grading that does not count.

    Returns
    -------
    outcomes
        By the name of the requirement; empty when nothing is kept or a grading of the archive is damaged.
    reason
        Why none can be told, in words; empty otherwise.

    Raises
    ------
    ArchiveUnreachable
    """
    try:
        root = archive.root_of(record)
        if not content_hash or not archive.has_drawer(root, archive.GRADINGS):
            return NOTHING_BEFORE, ""
        kept = archive.kept_verdicts(root, content_hash)
    except ArchiveUnreachable:
        raise
    except ArchiveError as error:
        return NOTHING_BEFORE, f"what was kept before is not known: {error.message}"
    left_out = None if but is None else str(but)
    return {
        one.verdict.requirement: str(one.verdict.outcome) for one in kept if str(one.grading) != left_out
    }, ""


def verdict_columns(found: Iterable[VerdictsOfRecord]) -> dict[str, Any]:
    """Return a row for each row of each verdict; margins, values, limits and uncertainties are in ``unit``.

    ``verdict`` is the outcome of the whole, ``verdict_before`` that of the newest grading kept before against
    a requirement of this name, whatever its edition; nothing when there is none. ``doubts`` is what makes the
    whole doubtful, ``wiring`` what is wrong with the wiring: both say why rows that pass make no pass.
    ``corrections`` is what was corrected of the record afterwards.

    ``uncertainty_low`` and ``uncertainty_high`` enclose the value with 95 %, ``expanded_uncertainty`` is the
    larger of both; all three are infinite where residual errors may be as large as the signal. A verdict
    without rows gives one row that has its outcome alone.
    """
    columns: dict[str, list[Any]] = {name: [] for name in (*_WHOLE, *_ROW)}
    for one in found:
        for verdict, edition in one.verdicts:
            whole = _whole(one, verdict, edition)
            for row in verdict.rows or (None,):
                for name, cell in zip(_WHOLE, whole, strict=True):
                    columns[name].append(cell)
                for name, cell in zip(_ROW, _cells(row), strict=True):
                    columns[name].append(cell)
    # An array keeps a column of numbers one also where all of them are missing.
    return {
        name: np.array(cells, dtype=np.float64) if name in _NUMBERS else cells
        for name, cells in columns.items()
    }


def _whole(one: VerdictsOfRecord, verdict: Verdict, edition: str) -> tuple[Any, ...]:
    wiring = () if verdict.wiring is None else verdict.wiring.findings
    return (
        *(verdict.record, one.content_hash, verdict.specimen, one.lot, one.product),
        *(verdict.length_m, one.created_at),
        *(verdict.requirement, edition, verdict.decision_rule, verdict.budget, str(verdict.outcome)),
        one.before.get(verdict.requirement),
        *("; ".join(verdict.doubts), "; ".join(finding.words for finding in wiring)),
        "; ".join(one.corrections),
    )


def _cells(row: VerdictRow | None) -> tuple[Any, ...]:
    if row is None:
        return (None,) * len(_ROW)
    return (
        *(str(row.parameter), row.end, "-".join(row.pairs), str(row.outcome), row.standing, row.note),
        *(row.worst_margin_db, row.parameter.unit, row.frequency_hz, row.value, row.limit),
        *(row.expanded_uncertainty, row.uncertainty_low, row.uncertainty_high, row.guard_band),
    )
