"""Check an archive: each file by itself, then the files against each other."""

from benchsweep.archive.check._across import Comparison, Finding, FindingKind
from benchsweep.archive.check._facts import AppliedCalibration, FileFacts, check_file
from benchsweep.archive.check._leftovers import leftovers

__all__ = [
    "AppliedCalibration",
    "Comparison",
    "FileFacts",
    "Finding",
    "FindingKind",
    "check_file",
    "leftovers",
]
