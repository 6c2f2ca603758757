"""Keep measurements, calibrations and unfinished jobs as HDF5 files that are written once and never changed.

Conventions:

- One file holds one measurement (a record), one calibration, one series of sweeps, or one finished hookup of
  an unfinished job. While a series is recorded every sweep is a file of its own.
  The layout is plain HDF5 1.10, readable with h5py alone: complex numbers as compounds ``r``, ``i``, text as
  UTF-8, every data set with its ``unit`` and ``meaning``. README.md, "Record layout", lists every data set.
- Data sets are contiguous and uncompressed. Measured on a 16-port matrix of 1001 points, gzip with the
  shuffle filter saves 8 % (receiver noise does not compress) and makes reading thirty times slower.
- Checksums cover every byte of a file, so that any flipped one is found, and nothing damaged ever reaches
  the HDF5 library: one over all of it, or, in records, one for each array and one for the rest, so that parts
  can be read and checked without the others. Besides, every data set and every block of attributes has a
  checksum, and the content as a whole a hash that does not depend on how HDF5 lays it out.
- A file appears under its name only when all of it is on the disc, and never replaces another.

From the bottom up: `places` (where files are), `format` (what stands in them), `_convert` (records to trees
of groups and back), then what is kept: records and calibrations (`_store`; `_head`, `_find` and `_again` look
them up), `series`, `notes`, `unfinished`; at the top `index` and `check`. Beside them, without HDF5:
`_history` and `_table`.
"""

from benchsweep.archive._again import of_the_same_sweeps
from benchsweep.archive._find import find_calibration_file, find_record
from benchsweep.archive._head import Head, measured_on_simulated_bench, read_head
from benchsweep.archive._history import AppendedFile, MatingCounters
from benchsweep.archive._store import (
    check_record,
    content_hash,
    list_calibrations,
    read_calibration,
    read_record,
    read_reduced,
    sweeps_fingerprint,
    write_calibration,
    write_record,
)
from benchsweep.archive._table import harmless, refuse_table, write_table
from benchsweep.archive.index import (
    Damaged,
    Found,
    FoundRecords,
    Judged,
    JudgedParameter,
    Selection,
    find,
    reindex,
)
from benchsweep.archive.notes import (
    KeptVerdict,
    all_notes,
    grading_of,
    join_gradings,
    kept_verdicts,
    notes_of,
    read_grading,
    read_note,
    surely_comment,
    verdicts_of,
    write_grading,
    write_note,
)
from benchsweep.archive.places import (
    GRADINGS,
    NOTES,
    Entry,
    Source,
    file_stem,
    has_drawer,
    is_url,
    list_files,
    local_path,
    make_folder,
    refuse_file,
    root_of,
    store_file,
)
from benchsweep.archive.series import (
    SeriesReader,
    SeriesWriter,
    check_series,
    is_series,
    list_unfinished,
    number_words,
    open_series,
    read_series_head,
    read_series_sweep,
    sweep_bytes,
)
from benchsweep.archive.unfinished import JobNotes, Journal

__all__ = [
    "GRADINGS",
    "NOTES",
    "AppendedFile",
    "Damaged",
    "Entry",
    "Found",
    "FoundRecords",
    "Head",
    "JobNotes",
    "Journal",
    "Judged",
    "JudgedParameter",
    "KeptVerdict",
    "MatingCounters",
    "Selection",
    "SeriesReader",
    "SeriesWriter",
    "Source",
    "all_notes",
    "check_record",
    "check_series",
    "content_hash",
    "file_stem",
    "find",
    "find_calibration_file",
    "find_record",
    "grading_of",
    "harmless",
    "has_drawer",
    "is_series",
    "is_url",
    "join_gradings",
    "kept_verdicts",
    "list_calibrations",
    "list_files",
    "list_unfinished",
    "local_path",
    "make_folder",
    "measured_on_simulated_bench",
    "notes_of",
    "number_words",
    "of_the_same_sweeps",
    "open_series",
    "read_calibration",
    "read_grading",
    "read_head",
    "read_note",
    "read_record",
    "read_reduced",
    "read_series_head",
    "read_series_sweep",
    "refuse_file",
    "refuse_table",
    "reindex",
    "root_of",
    "store_file",
    "surely_comment",
    "sweep_bytes",
    "sweeps_fingerprint",
    "verdicts_of",
    "write_calibration",
    "write_grading",
    "write_note",
    "write_record",
    "write_table",
]
