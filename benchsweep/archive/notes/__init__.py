"""What is said of a record later, in files of their own that point at it: comments, corrections, gradings.

`_notes_files` keeps comments and corrections, `_grading` makes columns of verdicts, `_grading_files` keeps
them.
"""

from benchsweep.archive.notes._grading import grading_of, join_gradings, verdicts_of
from benchsweep.archive.notes._grading_files import KeptVerdict, kept_verdicts, read_grading, write_grading
from benchsweep.archive.notes._notes_files import (
    all_notes,
    moment,
    notes_of,
    read_note,
    surely_comment,
    write_note,
)

__all__ = [
    "KeptVerdict",
    "all_notes",
    "grading_of",
    "join_gradings",
    "kept_verdicts",
    "moment",
    "notes_of",
    "read_grading",
    "read_note",
    "surely_comment",
    "verdicts_of",
    "write_grading",
    "write_note",
]
