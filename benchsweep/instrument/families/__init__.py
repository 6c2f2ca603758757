"""Command families: how groups of analyzers spell the same operations, and which one an instrument speaks.

A family is data: a TOML file here, or one of the user's own. `_family` is its model, `_rules` says what a
file must hold, `_behaviours` has what words cannot say (a closed set; the file picks by name), `_identify`
finds the family that fits by questions only. The ways to read a matrix, which a file also picks by name, are
in the room ``matrix``.
"""

from benchsweep.instrument.families._behaviours import (
    PARAMETER_NAMES,
    SWEEP,
    parse_parameter,
    parse_switch_term,
)
from benchsweep.instrument.families._family import (
    Confirmation,
    Correction,
    Family,
    KnownFamilies,
    Operation,
    Query,
    known_families,
    list_families,
    load_family,
    number_text,
)
from benchsweep.instrument.families._identify import identify, recognise

__all__ = [
    "PARAMETER_NAMES",
    "SWEEP",
    "Confirmation",
    "Correction",
    "Family",
    "KnownFamilies",
    "Operation",
    "Query",
    "identify",
    "known_families",
    "list_families",
    "load_family",
    "number_text",
    "parse_parameter",
    "parse_switch_term",
    "recognise",
]
