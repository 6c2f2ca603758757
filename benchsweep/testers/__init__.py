"""What field testers told: plain CSV by a mapping file, typed-in numbers; their declared accuracy as data.

Nothing here knows the format of any maker: a mapping (TOML) says what the columns of a file mean.
"""

from benchsweep.testers._accuracy import (
    DeclaredAccuracy,
    accuracies,
    accuracy_text,
    load_accuracy,
    read_accuracy,
)
from benchsweep.testers._mapping import FieldMapping, load_mapping, mapping_text, mappings, read_mapping
from benchsweep.testers._read import read_results
from benchsweep.testers._typed import typed_points
from benchsweep.testers._understood import understood_names

__all__ = [
    "DeclaredAccuracy",
    "FieldMapping",
    "accuracies",
    "accuracy_text",
    "load_accuracy",
    "load_mapping",
    "mapping_text",
    "mappings",
    "read_accuracy",
    "read_mapping",
    "read_results",
    "typed_points",
    "understood_names",
]
