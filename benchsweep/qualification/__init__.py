"""The use cases: calibrate a bench, qualify a specimen, grade a record again, import one.

The only room that knows the order of the stages. Nothing here prints or asks: progress goes to a callable,
a person is asked through another, results come back as plain data.
"""

from benchsweep.qualification._bench import CAUTIONS, Bench, confirmed_cautions, open_bench
from benchsweep.qualification._calibrate import CalibrationResult, calibrate
from benchsweep.qualification._documents import (
    exit_code_of,
    identity_document,
    limit_document,
    plan_document,
    record_document,
    verdict_document,
)
from benchsweep.qualification._grid import check_grid
from benchsweep.qualification._identity import Identified, who_answers
from benchsweep.qualification._lookups import (
    calibration_document,
    check_archive,
    check_kit,
    info_document,
    insert_simulated_specimen,
    read_measurement,
)
from benchsweep.qualification._planning import Planned, plan_station
from benchsweep.qualification._qualify import (
    Graded,
    Qualified,
    check_specimen,
    plan_for,
    qualify,
    usable_calibration,
)
from benchsweep.qualification._records import (
    check_decision_rule,
    grade_record,
    import_touchstone,
    record_hash,
)
from benchsweep.qualification._reduction import (
    Evaluation,
    evaluate,
    grade_evaluation,
    reduce_hookups,
    software_versions,
)
from benchsweep.qualification._requirements import (
    check_length,
    limit_number,
    load_requirements,
    requirement_document,
    requirements_document,
)
from benchsweep.qualification._station import Station, load_station

__all__ = [
    "CAUTIONS",
    "Bench",
    "CalibrationResult",
    "Evaluation",
    "Graded",
    "Identified",
    "Planned",
    "Qualified",
    "Station",
    "calibrate",
    "calibration_document",
    "check_archive",
    "check_decision_rule",
    "check_grid",
    "check_kit",
    "check_length",
    "check_specimen",
    "confirmed_cautions",
    "evaluate",
    "exit_code_of",
    "grade_evaluation",
    "grade_record",
    "identity_document",
    "import_touchstone",
    "info_document",
    "insert_simulated_specimen",
    "limit_document",
    "limit_number",
    "load_requirements",
    "load_station",
    "open_bench",
    "plan_document",
    "plan_for",
    "plan_station",
    "qualify",
    "read_measurement",
    "record_document",
    "record_hash",
    "reduce_hookups",
    "requirement_document",
    "requirements_document",
    "software_versions",
    "usable_calibration",
    "verdict_document",
    "who_answers",
]
