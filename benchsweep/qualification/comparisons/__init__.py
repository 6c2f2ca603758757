"""Field testers against a reference channel: register, add bench records, compare, follow, fall due.

From the bottom up: `_histories` (entries together), `_rules`; `_bench` (a record with its limits and
uncertainty), `_check_values`, `_stability`, `_drift`, `_due`, `_view` (channels and testers as they stand);
`_result` (what a tester told), `_statement` (mating, temperature), `_uncertainty_parts`, `_rows`, `_outcome`;
then one file for each thing that is done. Nothing here prints; documents are plain dictionaries.

Its files are read when something of them is first used, as those of `benchsweep.qualification`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchsweep.qualification.comparisons._again import ComparisonTraces, comparison_traces
    from benchsweep.qualification.comparisons._compare import (
        Looked,
        compare,
        exit_code_of_comparison,
        look_at_result,
    )
    from benchsweep.qualification.comparisons._declared import accuracy_at, declare_accuracy, declared_words
    from benchsweep.qualification.comparisons._documents import (
        channel_document,
        comparison_document,
        comparison_proof_document,
        due_document,
        looked_document,
        references_document,
        study_document,
        tester_document,
    )
    from benchsweep.qualification.comparisons._list import ReferenceRow, due, list_references
    from benchsweep.qualification.comparisons._measure import add_bench_record
    from benchsweep.qualification.comparisons._prove import ComparisonProof, prove_comparison
    from benchsweep.qualification.comparisons._register import (
        change_interval,
        register_channel,
        register_tester,
        return_reference,
        withdraw_reference,
    )
    from benchsweep.qualification.comparisons._studies import (
        MatingScatter,
        StudyView,
        add_study_result,
        mating_scatter,
        plan_study,
        read_study,
    )
    from benchsweep.qualification.comparisons._view import (
        ChannelView,
        FieldTesterView,
        exit_code_of_channel,
        read_channel,
        read_tester,
    )

__all__ = [
    "ChannelView",
    "ComparisonProof",
    "ComparisonTraces",
    "FieldTesterView",
    "Looked",
    "MatingScatter",
    "ReferenceRow",
    "StudyView",
    "accuracy_at",
    "add_bench_record",
    "add_study_result",
    "change_interval",
    "channel_document",
    "compare",
    "comparison_document",
    "comparison_proof_document",
    "comparison_traces",
    "declare_accuracy",
    "declared_words",
    "due",
    "due_document",
    "exit_code_of_channel",
    "exit_code_of_comparison",
    "list_references",
    "look_at_result",
    "looked_document",
    "mating_scatter",
    "plan_study",
    "prove_comparison",
    "read_channel",
    "read_study",
    "read_tester",
    "references_document",
    "register_channel",
    "register_tester",
    "return_reference",
    "study_document",
    "tester_document",
    "withdraw_reference",
]

_FILES: dict[str, tuple[str, ...]] = {
    "_again": (
        "ComparisonTraces",
        "comparison_traces",
    ),
    "_compare": (
        "Looked",
        "compare",
        "exit_code_of_comparison",
        "look_at_result",
    ),
    "_declared": (
        "accuracy_at",
        "declare_accuracy",
        "declared_words",
    ),
    "_documents": (
        "channel_document",
        "comparison_document",
        "comparison_proof_document",
        "due_document",
        "looked_document",
        "references_document",
        "study_document",
        "tester_document",
    ),
    "_list": (
        "ReferenceRow",
        "due",
        "list_references",
    ),
    "_measure": ("add_bench_record",),
    "_prove": (
        "ComparisonProof",
        "prove_comparison",
    ),
    "_register": (
        "change_interval",
        "register_channel",
        "register_tester",
        "return_reference",
        "withdraw_reference",
    ),
    "_studies": (
        "MatingScatter",
        "StudyView",
        "add_study_result",
        "mating_scatter",
        "plan_study",
        "read_study",
    ),
    "_view": (
        "ChannelView",
        "FieldTesterView",
        "exit_code_of_channel",
        "read_channel",
        "read_tester",
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
