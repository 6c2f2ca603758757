"""Words of ours in a report, by key, in English and in translations; and what is said with them.

``texts("count.all_pass", count=5)`` is a text with its fields filled in; ``texts.line(...)`` the same as a
line of `benchsweep.report.document`, in which fields that others gave stay apart. Keys made up of a fixed
beginning and a word of a closed list (``parameter.next``) are told in `FAMILIES`.

A translation is one file with the keys of ``en.toml``. It is found as other definitions are: by its path, in
``./texts``, in the data folder, among the shipped ones.
"""

from benchsweep.report.text._families import FAMILIES
from benchsweep.report.text._fits import WANDER_MARK, any_wanders, as_delay_ps, fit_words
from benchsweep.report.text._load import load_texts
from benchsweep.report.text._names import (
    STANDING_MARKS,
    conditional_words,
    outcome_words,
    pairs_words,
    parameter_words,
    standing_mark,
    standing_words,
    taken_words,
    trace_words,
    where_words,
)
from benchsweep.report.text._numbers import (
    interval_words,
    length_words,
    megahertz,
    number,
    signed,
    uncertainty_words,
)
from benchsweep.report.text._quantities import quantity_parts, worst_first
from benchsweep.report.text._rows import against_pass_words, count_words, origins_words, row_words
from benchsweep.report.text._select import (
    ORDER,
    bad_rows,
    decided_elsewhere,
    other_notes,
    row_notes,
    severity,
    standings,
    worst_row,
    worst_rows,
)
from benchsweep.report.text._stopping import nearest_words, stopping_words
from benchsweep.report.text._texts import Texts, english
from benchsweep.report.text._wiring import wiring_faults, wiring_words

__all__ = [
    "FAMILIES",
    "ORDER",
    "STANDING_MARKS",
    "WANDER_MARK",
    "Texts",
    "against_pass_words",
    "any_wanders",
    "as_delay_ps",
    "bad_rows",
    "conditional_words",
    "count_words",
    "decided_elsewhere",
    "english",
    "fit_words",
    "interval_words",
    "length_words",
    "load_texts",
    "megahertz",
    "nearest_words",
    "number",
    "origins_words",
    "other_notes",
    "outcome_words",
    "pairs_words",
    "parameter_words",
    "quantity_parts",
    "row_notes",
    "row_words",
    "severity",
    "signed",
    "standing_mark",
    "standing_words",
    "standings",
    "stopping_words",
    "taken_words",
    "trace_words",
    "uncertainty_words",
    "where_words",
    "wiring_faults",
    "wiring_words",
    "worst_first",
    "worst_row",
    "worst_rows",
]
