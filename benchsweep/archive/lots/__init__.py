"""Histories of lots: text files in the archive that are only added to.

`_codec` turns entries into JSON and back, `_reading` reads a file of them, `_lot_file` adds to it. What may
follow what is not known here but for the first and the last entry: `benchsweep.lots` has the rules, asked by
`LotFile.append` in its lock.
"""

from benchsweep.archive.lots._codec import decode_event, encode_event
from benchsweep.archive.lots._lot_file import LotFile, create, list_lots
from benchsweep.archive.lots._reading import (
    LOTS,
    LotHistory,
    file_name,
    lot_sources,
    read_history,
    read_opening,
    skim_history,
)

__all__ = [
    "LOTS",
    "LotFile",
    "LotHistory",
    "create",
    "decode_event",
    "encode_event",
    "file_name",
    "list_lots",
    "lot_sources",
    "read_history",
    "read_opening",
    "skim_history",
]
