"""Names, numbers and sentences in English."""

from __future__ import annotations

from benchsweep.records import Outcome, Parameter
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import against_pass_words as bad_words
from benchsweep.report.terminal._english import (
    conditional_words,
    count_words,
    interval_words,
    length_words,
    number,
    origins_words,
    pairs_words,
    parameter_words,
    row_words,
    signed,
    standing_words,
    where_words,
    wiring_words,
)
from benchsweep.report.terminal._english import taken_words as taken
from benchsweep.report.terminal._lines import columns, unparted, wrapped
from benchsweep.report.text import STANDING_MARKS, decided_elsewhere, english, megahertz
from benchsweep.report.text import wiring_faults as faults

__all__ = [
    "CONDITIONAL_WORDS",
    "NOT_EVALUATED",
    "PARAMETER_WORDS",
    "STANDING_MARKS",
    "STANDING_WORDS",
    "UNCERTAINTY_WORDS",
    "bad_words",
    "clean",
    "columns",
    "count_words",
    "decided_elsewhere",
    "faults",
    "interval_words",
    "length_words",
    "megahertz",
    "number",
    "origins_words",
    "pairs_words",
    "row_words",
    "signed",
    "taken",
    "unparted",
    "where_words",
    "wiring_words",
    "wrapped",
]

PARAMETER_WORDS = {parameter: parameter_words(parameter) for parameter in Parameter}
STANDING_WORDS = {standing: standing_words(standing) for standing in STANDING_MARKS}
UNCERTAINTY_WORDS = english()("uncertainty.expanded")
NOT_EVALUATED = english()("uncertainty.not_evaluated")
CONDITIONAL_WORDS = {
    outcome: conditional_words(outcome) for outcome in (Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL)
}
