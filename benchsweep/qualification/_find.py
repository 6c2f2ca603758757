"""Find records: a selection from words, and what was found as a document and as a table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive
from benchsweep.errors import BenchsweepError
from benchsweep.qualification._json import json_number
from benchsweep.records import Parameter

__all__ = ["find_document", "find_records", "reindex_archive", "select_records", "write_found"]

# What is told of a record, in this order.
_PLAIN = (
    *(
        "name",
        "kind",
        "content_hash",
        "created_at",
        "specimen",
        "lot",
        "product",
        "length_m",
        "description",
        "origin",
    ),
    *(
        "station",
        "operator",
        "calibration",
        "calibration_at",
        "calibration_file",
        "kit",
        "points",
        "start_hz",
        "stop_hz",
    ),
    *(
        "ports",
        "hookups",
        "source_file",
        "size",
        "reduced_from",
        "reason",
        "reduced_at",
        "superseded_by",
        "withdrawn",
    ),
    *("comments", "corrections"),
)


def select_records(**wishes: Any) -> archive.Selection:
    """Return the `archive.Selection` with these fields.

    A `calibration` that is the path of a calibration here means that one, whatever its file is called; of
    several each.

    Raises
    ------
    UsageError
    """
    if wish := wishes.get("calibration"):
        several = (wish,) if isinstance(wish, str) else wish
        wishes["calibration"] = tuple(_named_calibration(one) for one in several)
    return archive.Selection(**wishes)


def _named_calibration(wish: str) -> str:
    """Return the name under which a calibration was stored, where `wish` is the path of one."""
    if not wish.endswith(".h5"):
        return wish
    # Control characters and the like are refused by the selection, not by the file system.
    with suppress(BenchsweepError, OSError, ValueError):
        head = archive.read_head(Path(wish))
        if head.kind == "calibration":
            return archive.file_stem(head.calibration_created_at, head.calibration)
    return Path(wish).stem


def find_records(
    root: str, selection: archive.Selection, *, progress: Callable[[str], None] = lambda _: None
) -> archive.FoundRecords:
    """Return what fits in the archive `root`, see `archive.find`.

    Raises
    ------
    ArchiveError
    """
    return archive.find(root, selection, progress=progress)


def reindex_archive(root: str, *, progress: Callable[[str], None] = lambda _: None) -> archive.FoundRecords:
    """Make the index of the archive `root` anew, see `archive.reindex`.

    Raises
    ------
    ArchiveError
    """
    return archive.reindex(root, progress=progress)


def find_document(root: str, found: archive.FoundRecords, *, records: bool = True) -> dict[str, Any]:
    """Return ``benchsweep.find/1``.

    ``records`` says how many fit; ``found`` has each of them, oldest first, with corrections applied and the
    newest grading against each requirement; ``damaged`` all files of the archive that cannot be read;
    ``notes`` what happened to the index.

    Parameters
    ----------
    records
        Put the records in; without, ``found`` is empty.
    """
    return {
        "schema": "benchsweep.find/1",
        "archive": root,
        "records": len(found),
        "found": list(_items(found)) if records else [],
        "damaged": [{"record": one.source, "reason": one.reason} for one in found.damaged],
        "notes": list(found.notes),
    }


def _items(found: archive.FoundRecords) -> Iterator[dict[str, Any]]:
    for one in found:
        yield {
            "record": one.source,
            **_plain(one),
            "gradings": [
                {
                    "requirement": judged.requirement,
                    "edition": judged.edition,
                    "decision_rule": judged.decision_rule,
                    "outcome": str(judged.outcome),
                    "made_at": judged.made_at,
                    "worst_margin_db": json_number(judged.worst_margin_db),
                    "worst_parameter": judged.worst_parameter,
                    "outdated": bool(judged.outdated),
                    "outdated_since": judged.outdated,
                    "why": judged.why,
                    "parameters": {
                        str(name): {
                            "outcome": str(item.outcome),
                            "worst_margin": json_number(item.worst_margin),
                            "unit": name.unit,
                        }
                        for name, item in judged.parameters.items()
                    },
                }
                for judged in one.judged
            ],
        }


def _plain(one: archive.Found) -> dict[str, Any]:
    specimen = one.specimen
    about = {
        "specimen": specimen.identifier,
        "lot": specimen.lot,
        "product": specimen.product,
        "length_m": specimen.length_m,
        "description": specimen.description,
    }
    return {name: about[name] if name in about else getattr(one, name) for name in _PLAIN}


def write_found(found: archive.FoundRecords, path: Path, *, replace: bool = False) -> Path:
    """Write what was found as CSV or Parquet, by the suffix, and return the path.

    One row for each record and requirement it was graded against; one for a record without gradings. Columns
    ``<parameter>_outcome`` and ``<parameter>_worst_margin_db`` (``_ns`` for delay and skew) for every
    parameter that occurs.

    Raises
    ------
    UsageError, ArchiveError
        As `archive.write_table`.
    """
    rows: list[tuple[dict[str, Any], archive.Judged | None]] = []
    for one in found:
        plain = {"record": one.source, **_plain(one)}
        rows += [(plain, judged) for judged in one.judged] or [(plain, None)]
    judgements = [judged for _, judged in rows]
    columns: dict[str, Any] = {name: [plain[name] for plain, _ in rows] for name in ("record", *_PLAIN)}
    columns["length_m"] = _numbers(columns["length_m"])
    columns |= {
        "requirement": [judged and judged.requirement for judged in judgements],
        "edition": [judged and judged.edition for judged in judgements],
        "decision_rule": [judged and judged.decision_rule for judged in judgements],
        "outcome": [judged and str(judged.outcome) for judged in judgements],
        "graded_at": [judged and judged.made_at for judged in judgements],
        "worst_margin_db": _numbers([judged.worst_margin_db if judged else None for judged in judgements]),
        "worst_parameter": [judged and judged.worst_parameter for judged in judgements],
        # A correction of that time made it out of date; empty: it holds.
        "outdated_since": [judged and judged.outdated for judged in judgements],
        "why": [judged and judged.why for judged in judgements],
    }
    for parameter in Parameter:
        columns |= _parameter_columns(parameter, judgements)
    return archive.write_table(columns, path, replace=replace)


def _parameter_columns(parameter: Parameter, judgements: list[archive.Judged | None]) -> Mapping[str, Any]:
    items = [judged.parameters.get(parameter) if judged else None for judged in judgements]
    if not any(items):
        return {}
    return {
        f"{parameter}_outcome": [item and str(item.outcome) for item in items],
        f"{parameter}_worst_margin_{parameter.unit.lower()}": _numbers(
            [item.worst_margin if item else None for item in items]
        ),
    }


def _numbers(values: list[float | None]) -> NDArray[np.float64]:
    # None becomes "not a number", so that a column of nothing else stays one of numbers.
    return np.array(values, dtype=np.float64)
