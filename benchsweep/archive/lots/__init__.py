"""Histories of lots: text files in the archive that are only added to.

`_codec` turns entries into JSON and back, `_reading` reads a file of them, `_lot_file` adds to it, `_seen`
tells what later lots know of earlier ones. What may follow what is not known here but for the first and the
last entry: `benchsweep.lots` has the rules, asked by `LotFile.append` in its lock.
"""

from benchsweep.archive.lots._codec import decode_event, encode_event
from benchsweep.archive.lots._lot_file import LotFile, create, list_lots
from benchsweep.archive.lots._reading import (
    LOTS,
    LotHistory,
    LotOutline,
    file_name,
    lot_sources,
    read_history,
    read_opening,
    read_outline,
    records_named,
    skim_history,
)
from benchsweep.archive.lots._seen import SeenLots, seen_words

__all__ = [
    "LOTS",
    "LotFile",
    "LotHistory",
    "LotOutline",
    "SeenLots",
    "create",
    "decode_event",
    "encode_event",
    "file_name",
    "list_lots",
    "lot_sources",
    "read_history",
    "read_opening",
    "read_outline",
    "records_named",
    "seen_words",
    "skim_history",
]
