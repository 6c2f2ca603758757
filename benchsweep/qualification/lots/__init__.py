"""Lots of reels: plan and open, add records, decide, prove, and watch the process over lots.

What may happen in the life of a lot is ruled by `benchsweep.lots`, its history kept by
`benchsweep.archive.lots`; here records are read and graded for it. From the bottom up: `_histories` (read
once each), `_requirement_text`, `_variables`, `_inspection` (switching rules over closed lots), `_view`;
`_reading` and `_reel` (a record as the result of a reel), `_recheck` (again, compared); then one file for
each thing that is done. Nothing here prints; documents are plain dictionaries.

Its files are read when something of them is first used, as those of `benchsweep.qualification`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchsweep.qualification.lots._add import add_record, check_reel, lot_requirement
    from benchsweep.qualification.lots._afterwards import corrections_told
    from benchsweep.qualification.lots._change import exclude_reel, replan_lot
    from benchsweep.qualification.lots._close import close_lot
    from benchsweep.qualification.lots._documents import (
        lot_document,
        lots_document,
        proof_document,
        sampling_document,
    )
    from benchsweep.qualification.lots._in_place import LotRun, lot_run
    from benchsweep.qualification.lots._known import lot_slip, opening_notes
    from benchsweep.qualification.lots._open import open_lot
    from benchsweep.qualification.lots._plan import curve_of, plan_sampling
    from benchsweep.qualification.lots._process import process_views
    from benchsweep.qualification.lots._process_documents import process_document
    from benchsweep.qualification.lots._prove import LotProof, exit_code_of_proof, prove_lot
    from benchsweep.qualification.lots._recheck import ReelAgain
    from benchsweep.qualification.lots._simulated import practice_of
    from benchsweep.qualification.lots._traces import LotTraces, lot_traces
    from benchsweep.qualification.lots._view import (
        LotView,
        exit_code_of_lot,
        list_lot_views,
        lot_names,
        read_lot,
    )

__all__ = [
    "LotProof",
    "LotRun",
    "LotTraces",
    "LotView",
    "ReelAgain",
    "add_record",
    "check_reel",
    "close_lot",
    "corrections_told",
    "curve_of",
    "exclude_reel",
    "exit_code_of_lot",
    "exit_code_of_proof",
    "list_lot_views",
    "lot_document",
    "lot_names",
    "lot_requirement",
    "lot_run",
    "lot_slip",
    "lot_traces",
    "lots_document",
    "open_lot",
    "opening_notes",
    "plan_sampling",
    "practice_of",
    "process_document",
    "process_views",
    "proof_document",
    "prove_lot",
    "read_lot",
    "replan_lot",
    "sampling_document",
]

_FILES = {
    "_add": (
        "add_record",
        "check_reel",
        "lot_requirement",
    ),
    "_afterwards": ("corrections_told",),
    "_change": (
        "exclude_reel",
        "replan_lot",
    ),
    "_close": ("close_lot",),
    "_documents": (
        "lot_document",
        "lots_document",
        "proof_document",
        "sampling_document",
    ),
    "_in_place": ("LotRun", "lot_run"),
    "_known": ("lot_slip", "opening_notes"),
    "_open": ("open_lot",),
    "_plan": ("curve_of", "plan_sampling"),
    "_process": ("process_views",),
    "_process_documents": ("process_document",),
    "_prove": (
        "LotProof",
        "exit_code_of_proof",
        "prove_lot",
    ),
    "_recheck": ("ReelAgain",),
    "_simulated": ("practice_of",),
    "_traces": (
        "LotTraces",
        "lot_traces",
    ),
    "_view": (
        "LotView",
        "exit_code_of_lot",
        "list_lot_views",
        "lot_names",
        "read_lot",
    ),
}
"""What each file gives to the outside: the same as the imports above, which only the type checker follows."""

_FILE_OF = {name: file for file, names in _FILES.items() for name in names}


def __getattr__(name: str) -> Any:
    """Return a public name, reading its file at the first use (PEP 562)."""
    if name not in _FILE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_FILE_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
