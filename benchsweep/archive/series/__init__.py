"""Series of sweeps: a folder with a file for each sweep while recorded, then packed; read sweep by sweep.

From the bottom up: `_convert` (to trees of groups and back), `_pack` (many files into one), `_folder` (while
it is recorded), `_read` (either form).
"""

from benchsweep.archive.series._folder import SeriesWriter, sweep_bytes
from benchsweep.archive.series._pack import number_words
from benchsweep.archive.series._read import (
    SeriesReader,
    check_series,
    is_series,
    list_unfinished,
    open_series,
    read_series_head,
    read_series_sweep,
)

__all__ = [
    "SeriesReader",
    "SeriesWriter",
    "check_series",
    "is_series",
    "list_unfinished",
    "number_words",
    "open_series",
    "read_series_head",
    "read_series_sweep",
    "sweep_bytes",
]
