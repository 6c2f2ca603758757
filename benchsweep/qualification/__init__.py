"""The use cases: calibrate a bench, qualify a specimen, grade a record again, import one.

The only room that knows the order of the stages. Nothing here prints or asks: progress goes to a callable,
a person is asked through another, results come back as plain data.

Its files are read when something of them is first used: a command that prints one limit need not wait for
calibration and link.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchsweep.qualification._again import (
        again_document,
        again_lines,
        reduced_again,
        tell_superseded,
    )
    from benchsweep.qualification._alien_document import alien_document
    from benchsweep.qualification._archive_check import (
        ArchiveChecked,
        archive_check_document,
        calibration_folders,
        check_files,
        check_whole_archive,
        exit_code_of_archive_check,
    )
    from benchsweep.qualification._bands import uncertainty_bands
    from benchsweep.qualification._bench import (
        CAUTIONS,
        Bench,
        cautions_for,
        check_station,
        confirmed_cautions,
        open_bench,
    )
    from benchsweep.qualification._budget import budget_document, budget_parameters, budget_rows
    from benchsweep.qualification._bundle import check_bundle
    from benchsweep.qualification._calibrate import CalibrationResult, calibrate
    from benchsweep.qualification._correct import comment_on, correct, note_document
    from benchsweep.qualification._documents import (
        exit_code_of,
        identity_document,
        limit_document,
        plan_document,
        record_document,
        verdict_document,
    )
    from benchsweep.qualification._export import (
        ExportChoice,
        Exported,
        export_document,
        export_records,
    )
    from benchsweep.qualification._export_load import ExportGrading
    from benchsweep.qualification._find import (
        find_document,
        find_records,
        reindex_archive,
        select_records,
        write_found,
    )
    from benchsweep.qualification._frames import to_pandas, to_xarray
    from benchsweep.qualification._graded import Graded, Qualified
    from benchsweep.qualification._grid import check_grid
    from benchsweep.qualification._highest import exit_code_of_highest, highest_document
    from benchsweep.qualification._identity import Identified, who_answers
    from benchsweep.qualification._keep import keep_grading, keep_verdicts, told_of
    from benchsweep.qualification._locate import (
        NOTHING_PLACED,
        Location,
        exit_code_of_location,
        locate,
        location_document,
        worst_structural_return_loss,
    )
    from benchsweep.qualification._lookups import (
        calibration_document,
        check_archive,
        check_kit,
        check_method,
        info_document,
        insert_simulated_specimen,
        read_measurement,
    )
    from benchsweep.qualification._naming import about_record
    from benchsweep.qualification._notes import (
        RecordNotes,
        note_lines,
        notes_about,
        notes_document,
        notes_on,
        record_hash,
    )
    from benchsweep.qualification._origins import failing_origins, origin_document, place_document
    from benchsweep.qualification._places import Places
    from benchsweep.qualification._planning import Planned, plan_station
    from benchsweep.qualification._qualify import (
        plan_for,
        qualify,
        usable_calibration,
    )
    from benchsweep.qualification._record import record_series, series_hookup
    from benchsweep.qualification._records import (
        check_decision_rule,
        decision_rules,
        grade_record,
        import_touchstone,
    )
    from benchsweep.qualification._reduction import (
        Evaluation,
        evaluate,
        grade_evaluation,
        reduce_hookups,
        software_versions,
    )
    from benchsweep.qualification._requirement_documents import requirement_document, requirements_document
    from benchsweep.qualification._requirements import (
        ChosenRequirements,
        check_length,
        choose_requirements,
        limit_number,
        load_requirements,
        ranked_requirements,
        told_conditions,
    )
    from benchsweep.qualification._series_ambient import (
        AmbientFile,
        AmbientSource,
        TypedAmbient,
        parse_ambient,
    )
    from benchsweep.qualification._series_clock import Clock, SystemClock
    from benchsweep.qualification._series_end import Recorded, finish_series
    from benchsweep.qualification._series_list import unfinished_document, unfinished_series
    from benchsweep.qualification._series_loop import Wishes
    from benchsweep.qualification._series_use import (
        SeriesShown,
        followed_parameters,
        grade_series,
        is_series,
        read_series_measurement,
        recorded_document,
        series_change,
        series_document,
        series_sweep,
        series_sweep_document,
    )
    from benchsweep.qualification._shown import Shown, disturbers_shown, shown
    from benchsweep.qualification._specimen import check_specimen, check_text
    from benchsweep.qualification._station import Station, load_station
    from benchsweep.qualification._uncertainty import uncertainty_model
    from benchsweep.qualification._verification import Verification
    from benchsweep.qualification._verified import last_words, refuse_unverified
    from benchsweep.qualification._verify import verify
    from benchsweep.qualification._verify_documents import (
        history_document,
        matings_document,
        renew,
        verification_document,
    )
    from benchsweep.qualification._wear import count_matings
    from benchsweep.qualification.bulk import (
        Reduced,
        ReduceJob,
        Regraded,
        RegradeJob,
        chosen_items,
        exit_code_of_reduce,
        exit_code_of_regrade,
        journal_trouble,
        keep_sink,
        reduce_again,
        reduce_document,
        regrade,
        regrade_document,
        runner_for,
        table_sink,
    )
    from benchsweep.qualification.lots import (
        LotProof,
        LotRun,
        LotTraces,
        LotView,
        ReelAgain,
        add_record,
        check_reel,
        close_lot,
        exclude_reel,
        exit_code_of_lot,
        exit_code_of_proof,
        list_lot_views,
        lot_document,
        lot_names,
        lot_requirement,
        lot_run,
        lot_traces,
        lots_document,
        open_lot,
        plan_sampling,
        process_document,
        process_views,
        proof_document,
        prove_lot,
        read_lot,
        replan_lot,
        sampling_document,
    )

__all__ = [
    "CAUTIONS",
    "NOTHING_PLACED",
    "AmbientFile",
    "AmbientSource",
    "ArchiveChecked",
    "Bench",
    "CalibrationResult",
    "ChosenRequirements",
    "Clock",
    "Evaluation",
    "ExportChoice",
    "ExportGrading",
    "Exported",
    "Graded",
    "Identified",
    "Location",
    "LotProof",
    "LotRun",
    "LotTraces",
    "LotView",
    "Places",
    "Planned",
    "Qualified",
    "RecordNotes",
    "Recorded",
    "ReduceJob",
    "Reduced",
    "ReelAgain",
    "RegradeJob",
    "Regraded",
    "SeriesShown",
    "Shown",
    "Station",
    "SystemClock",
    "TypedAmbient",
    "Verification",
    "Wishes",
    "about_record",
    "add_record",
    "again_document",
    "again_lines",
    "alien_document",
    "archive_check_document",
    "budget_document",
    "budget_parameters",
    "budget_rows",
    "calibrate",
    "calibration_document",
    "calibration_folders",
    "cautions_for",
    "check_archive",
    "check_bundle",
    "check_decision_rule",
    "check_files",
    "check_grid",
    "check_kit",
    "check_length",
    "check_method",
    "check_reel",
    "check_specimen",
    "check_station",
    "check_text",
    "check_whole_archive",
    "choose_requirements",
    "chosen_items",
    "close_lot",
    "comment_on",
    "confirmed_cautions",
    "correct",
    "count_matings",
    "decision_rules",
    "disturbers_shown",
    "evaluate",
    "exclude_reel",
    "exit_code_of",
    "exit_code_of_archive_check",
    "exit_code_of_highest",
    "exit_code_of_location",
    "exit_code_of_lot",
    "exit_code_of_proof",
    "exit_code_of_reduce",
    "exit_code_of_regrade",
    "export_document",
    "export_records",
    "failing_origins",
    "find_document",
    "find_records",
    "finish_series",
    "followed_parameters",
    "grade_evaluation",
    "grade_record",
    "grade_series",
    "highest_document",
    "history_document",
    "identity_document",
    "import_touchstone",
    "info_document",
    "insert_simulated_specimen",
    "is_series",
    "journal_trouble",
    "keep_grading",
    "keep_sink",
    "keep_verdicts",
    "last_words",
    "limit_document",
    "limit_number",
    "list_lot_views",
    "load_requirements",
    "load_station",
    "locate",
    "location_document",
    "lot_document",
    "lot_names",
    "lot_requirement",
    "lot_run",
    "lot_traces",
    "lots_document",
    "matings_document",
    "note_document",
    "note_lines",
    "notes_about",
    "notes_document",
    "notes_on",
    "open_bench",
    "open_lot",
    "origin_document",
    "parse_ambient",
    "place_document",
    "plan_document",
    "plan_for",
    "plan_sampling",
    "plan_station",
    "process_document",
    "process_views",
    "proof_document",
    "prove_lot",
    "qualify",
    "ranked_requirements",
    "read_lot",
    "read_measurement",
    "read_series_measurement",
    "record_document",
    "record_hash",
    "record_series",
    "recorded_document",
    "reduce_again",
    "reduce_document",
    "reduce_hookups",
    "reduced_again",
    "refuse_unverified",
    "regrade",
    "regrade_document",
    "reindex_archive",
    "renew",
    "replan_lot",
    "requirement_document",
    "requirements_document",
    "runner_for",
    "sampling_document",
    "select_records",
    "series_change",
    "series_document",
    "series_hookup",
    "series_sweep",
    "series_sweep_document",
    "shown",
    "software_versions",
    "table_sink",
    "tell_superseded",
    "to_pandas",
    "to_xarray",
    "told_conditions",
    "told_of",
    "uncertainty_bands",
    "uncertainty_model",
    "unfinished_document",
    "unfinished_series",
    "usable_calibration",
    "verdict_document",
    "verification_document",
    "verify",
    "who_answers",
    "worst_structural_return_loss",
    "write_found",
]

_FILES: dict[str, tuple[str, ...]] = {
    "_again": ("again_document", "again_lines", "reduced_again", "tell_superseded"),
    "_alien_document": ("alien_document",),
    "_archive_check": (
        "ArchiveChecked",
        "archive_check_document",
        "calibration_folders",
        "check_files",
        "check_whole_archive",
        "exit_code_of_archive_check",
    ),
    "_bands": ("uncertainty_bands",),
    "_bench": ("CAUTIONS", "Bench", "cautions_for", "check_station", "confirmed_cautions", "open_bench"),
    "_budget": ("budget_document", "budget_parameters", "budget_rows"),
    "_bundle": ("check_bundle",),
    "_calibrate": ("CalibrationResult", "calibrate"),
    "_correct": ("comment_on", "correct", "note_document"),
    "_documents": (
        "exit_code_of",
        "identity_document",
        "limit_document",
        "plan_document",
        "record_document",
        "verdict_document",
    ),
    "_naming": ("about_record",),
    "_export": ("ExportChoice", "Exported", "export_document", "export_records"),
    "_export_load": ("ExportGrading",),
    "_frames": ("to_pandas", "to_xarray"),
    "_find": ("find_document", "find_records", "reindex_archive", "select_records", "write_found"),
    "_graded": ("Graded", "Qualified"),
    "_grid": ("check_grid",),
    "_highest": ("exit_code_of_highest", "highest_document"),
    "_identity": ("Identified", "who_answers"),
    "_keep": ("keep_grading", "keep_sink", "keep_verdicts", "told_of"),
    "_locate": (
        "NOTHING_PLACED",
        "Location",
        "exit_code_of_location",
        "locate",
        "location_document",
        "worst_structural_return_loss",
    ),
    "_lookups": (
        "calibration_document",
        "check_archive",
        "check_kit",
        "check_method",
        "info_document",
        "insert_simulated_specimen",
        "read_measurement",
    ),
    "_notes": ("RecordNotes", "note_lines", "notes_about", "notes_document", "notes_on", "record_hash"),
    "_origins": ("failing_origins", "origin_document", "place_document"),
    "_places": ("Places",),
    "_planning": ("Planned", "plan_station"),
    "_qualify": ("plan_for", "qualify", "usable_calibration"),
    "_record": ("record_series", "series_hookup"),
    "_records": ("check_decision_rule", "decision_rules", "grade_record", "import_touchstone"),
    "_reduction": ("Evaluation", "evaluate", "grade_evaluation", "reduce_hookups", "software_versions"),
    "_requirement_documents": ("requirement_document", "requirements_document"),
    "_requirements": (
        "ChosenRequirements",
        "check_length",
        "choose_requirements",
        "limit_number",
        "load_requirements",
        "ranked_requirements",
        "told_conditions",
    ),
    "_series_ambient": ("AmbientFile", "AmbientSource", "TypedAmbient", "parse_ambient"),
    "_series_clock": ("Clock", "SystemClock"),
    "_series_end": ("Recorded", "finish_series"),
    "_series_list": ("unfinished_document", "unfinished_series"),
    "_series_loop": ("Wishes",),
    "_series_use": (
        "SeriesShown",
        "followed_parameters",
        "grade_series",
        "is_series",
        "read_series_measurement",
        "recorded_document",
        "series_change",
        "series_document",
        "series_sweep",
        "series_sweep_document",
    ),
    "_shown": ("Shown", "disturbers_shown", "shown"),
    "_specimen": ("check_specimen", "check_text"),
    "_station": ("Station", "load_station"),
    "_uncertainty": ("uncertainty_model",),
    "_verification": ("Verification",),
    "_verified": ("last_words", "refuse_unverified"),
    "_verify": ("verify",),
    "_verify_documents": ("history_document", "matings_document", "renew", "verification_document"),
    "_wear": ("count_matings",),
    "bulk": (
        "ReduceJob",
        "Reduced",
        "RegradeJob",
        "Regraded",
        "chosen_items",
        "exit_code_of_reduce",
        "exit_code_of_regrade",
        "journal_trouble",
        "keep_sink",
        "reduce_again",
        "reduce_document",
        "regrade",
        "regrade_document",
        "runner_for",
        "table_sink",
    ),
    "lots": (
        "add_record",
        "check_reel",
        "close_lot",
        "exclude_reel",
        "exit_code_of_lot",
        "exit_code_of_proof",
        "list_lot_views",
        "lot_document",
        "lot_names",
        "lot_requirement",
        "lot_run",
        "lot_traces",
        "LotProof",
        "LotRun",
        "lots_document",
        "LotTraces",
        "LotView",
        "open_lot",
        "plan_sampling",
        "process_document",
        "process_views",
        "proof_document",
        "prove_lot",
        "read_lot",
        "ReelAgain",
        "replan_lot",
        "sampling_document",
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
