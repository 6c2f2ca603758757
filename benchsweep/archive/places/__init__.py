"""Where files are and how they get there: paths and addresses, written whole or not at all, listed, locked.

The only place that knows fsspec. From the bottom up: `_storage_errors` (of the operating system, in words),
`_remote` and `_remote_stream` (stores at an address), `_source` (a file open for reading), `_files` and
`_locks` (ours), `_new_file` (for other programs), `_list` (what an archive holds), `_drawers` (where its
notes and gradings are). What stands in a file is not known here.
"""

from benchsweep.archive.places._drawers import GRADINGS, NOTES, below, files_in, has_drawer, root_of
from benchsweep.archive.places._files import (
    Piece,
    add_file,
    add_name,
    file_stem,
    make_folder,
    numbered,
    refuse_file,
    replace_file,
    sort_key,
    sync_folder,
)
from benchsweep.archive.places._list import DEEPEST, Entry, leads_up, list_files, list_folders
from benchsweep.archive.places._locks import free_lock, lock_beside
from benchsweep.archive.places._new_file import new_file, store_file
from benchsweep.archive.places._remote import beginning, filesystem, is_url, local_path, remote_errors
from benchsweep.archive.places._source import Content, Source, open_content
from benchsweep.archive.places._storage_errors import drive_gone, is_folder, storage_errors

__all__ = [
    "DEEPEST",
    "GRADINGS",
    "NOTES",
    "Content",
    "Entry",
    "Piece",
    "Source",
    "add_file",
    "add_name",
    "beginning",
    "below",
    "drive_gone",
    "file_stem",
    "files_in",
    "filesystem",
    "free_lock",
    "has_drawer",
    "is_folder",
    "is_url",
    "leads_up",
    "list_files",
    "list_folders",
    "local_path",
    "lock_beside",
    "make_folder",
    "new_file",
    "numbered",
    "open_content",
    "refuse_file",
    "remote_errors",
    "replace_file",
    "root_of",
    "sort_key",
    "storage_errors",
    "store_file",
    "sync_folder",
]
