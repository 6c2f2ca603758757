"""Find records of an archive by what they hold and what was said of them."""

from benchsweep.archive.index._find import FoundRecords, find, reindex
from benchsweep.archive.index._found import Damaged, Found, Judged, JudgedParameter
from benchsweep.archive.index._selection import Selection

__all__ = ["Damaged", "Found", "FoundRecords", "Judged", "JudgedParameter", "Selection", "find", "reindex"]
