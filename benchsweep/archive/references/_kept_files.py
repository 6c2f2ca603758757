"""Files of field testers, kept in an archive as they came, named by their content."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from benchsweep.archive.places import Source, below, files_in, is_folder, local_path, open_content, store_file
from benchsweep.archive.references._reading import REFERENCES
from benchsweep.errors import ArchiveLocked, RecordDamaged, RecordMissing, UsageError

__all__ = ["FILES", "check_kept_file", "keep_file", "kept_file", "kept_name", "kept_sources"]

FILES = "files"
"""Folder of the kept files within that of the histories."""
_SUFFIX = ".dat"
_OURS = re.compile(r"([0-9a-f]{64})\.dat")


def kept_name(digest: str) -> str:
    """Return the place of a kept file below its archive."""
    return f"{REFERENCES}/{FILES}/{digest}{_SUFFIX}"


def keep_file(folder: Source, content: bytes) -> str:
    """Keep the bytes of a file in an archive and return their SHA-256; they are on the disc then.

    The same bytes are kept once.

    Raises
    ------
    RecordDamaged
        A file of that name is there with other content.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        It cannot be written: the place is read only, an address, or full.
    """
    digest = hashlib.sha256(content).hexdigest()
    place = below(folder, *kept_name(digest).split("/"))
    path = local_path(place)
    if path is None:
        raise ArchiveLocked(
            f"{place}: an archive at an address can be read only",
            hint="Name the archive as a folder of this machine or of the network.",
        )
    if path.exists():
        kept_file(folder, digest)
        return digest
    try:
        store_file(path, content)
    except UsageError:
        # Another station has just kept the same; what it wrote has to be that.
        if is_folder(path):
            raise
        kept_file(folder, digest)
    return digest


def kept_file(folder: Source, digest: str) -> bytes:
    """Return the bytes of a kept file.

    Raises
    ------
    RecordDamaged
        Its bytes are not those that were kept, or it is gone.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        It cannot be read.
    """
    source = below(folder, *kept_name(digest).split("/"))
    try:
        return check_kept_file(source, digest)
    except RecordMissing:
        raise RecordDamaged(
            f"{source}: this kept file is not there any more", hint="Restore the file from a copy."
        ) from None


def check_kept_file(source: Source, digest: str = "") -> bytes:
    """Return the bytes of a kept file; raises as `kept_file`.

    Parameters
    ----------
    digest
        What its SHA-256 must be; empty: what its name says.
    """
    name = Path(str(source).replace("\\", "/")).name
    found = _OURS.fullmatch(name)
    if not digest and found is None:
        raise RecordDamaged(
            f"{source}: its name is no content hash", hint="Give the file its own name again."
        )
    with open_content(source, "kept file") as content:
        data = bytes(content.stream.readall() or b"")
    if hashlib.sha256(data).hexdigest() != (digest or (found.group(1) if found else "")):
        raise RecordDamaged(
            f"{source}: its bytes are not those that were kept", hint="Restore the file from a copy."
        )
    return data


def kept_sources(folder: Source) -> list[Source]:
    """Return the kept files of an archive, by name; raises as `reference_sources`."""
    sources = files_in(below(folder, REFERENCES, FILES), suffix=_SUFFIX)
    return [source for source in sources if _OURS.fullmatch(Path(str(source).replace("\\", "/")).name)]
