"""Check an archive: each file by itself, then the files against each other."""

from benchsweep.archive.check._across import Comparison
from benchsweep.archive.check._check_file import check_file
from benchsweep.archive.check._facts import AppliedCalibration, FileFacts, NamedRecord
from benchsweep.archive.check._file_list import (
    FileList,
    ListComparison,
    ListedFile,
    read_file_list,
    refuse_file_list,
    write_file_list,
)
from benchsweep.archive.check._finding import Finding, FindingKind
from benchsweep.archive.check._leftovers import leftovers

__all__ = [
    "AppliedCalibration",
    "Comparison",
    "FileFacts",
    "FileList",
    "Finding",
    "FindingKind",
    "ListComparison",
    "ListedFile",
    "NamedRecord",
    "check_file",
    "leftovers",
    "read_file_list",
    "refuse_file_list",
    "write_file_list",
]
