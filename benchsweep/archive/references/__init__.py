"""Histories of reference channels, field testers and studies: text files that are only added to.

`_codec` turns entries into JSON and back, `_reading` reads a file of them, `_reference_file` adds to it,
`_kept_files` keeps the files of field testers as they came, `_seen` what histories saw of each other. What
may follow what is known here only by kind: the rules are those of `benchsweep.qualification`, asked by
`ReferenceFile.append` in its lock.
"""

from benchsweep.archive.references._codec import ReferenceKind, decode_event, encode_event
from benchsweep.archive.references._kept_files import (
    FILES,
    check_kept_file,
    keep_file,
    kept_file,
    kept_name,
    kept_sources,
)
from benchsweep.archive.references._reading import (
    REFERENCES,
    ReferenceHistory,
    file_name,
    is_history,
    read_history,
    reference_sources,
)
from benchsweep.archive.references._reference_file import ReferenceFile, create, list_references
from benchsweep.archive.references._seen import SeenReferences, seen_in

__all__ = [
    "FILES",
    "REFERENCES",
    "ReferenceFile",
    "ReferenceHistory",
    "ReferenceKind",
    "SeenReferences",
    "check_kept_file",
    "create",
    "decode_event",
    "encode_event",
    "file_name",
    "is_history",
    "keep_file",
    "kept_file",
    "kept_name",
    "kept_sources",
    "list_references",
    "read_history",
    "reference_sources",
    "seen_in",
]
