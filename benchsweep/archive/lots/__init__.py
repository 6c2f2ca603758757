"""Histories of lots: text files in the archive that are only added to.

`_codec` turns entries into JSON and back, `_lot_file` keeps them. What may follow what is not known here but
for the first and the last entry: `benchsweep.lots` has the rules, asked by `LotFile.append` in its lock.
"""

from benchsweep.archive.lots._codec import decode_event, encode_event
from benchsweep.archive.lots._lot_file import (
    LOTS,
    LotFile,
    LotHistory,
    create,
    file_name,
    list_lots,
    lot_sources,
    read_history,
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
]
