"""The first 512 bytes of every file of ours: what it is, and a checksum over all the rest.

HDF5 lets a file begin with a "user block" that it never reads. Ours holds four lines of ASCII text::

    benchsweep record 1
    bytes after this block: 12345678
    sha256 of the bytes after this block: <64 hexadecimal digits>
    sha256 of the lines above: <64 hexadecimal digits>

filled up with spaces and one line feed. One pass over the file therefore finds every flipped byte, be it in
data, in the structure of the HDF5 file or in an unused gap, before the HDF5 library parses anything.
Later versions keep the first and the last line, so that an old program can tell newer from damaged.

The seal finds accidents, not intent: whoever changes a record on purpose can seal it again. Its content hash
is another one then, which a report names.
"""

from __future__ import annotations

import hashlib
import re
import stat
from pathlib import Path
from typing import Literal

from benchsweep.archive._files import storage_errors
from benchsweep.errors import ArchiveError, RecordDamaged, RecordNewer

__all__ = ["BLOCK", "VERSION", "Kind", "check_seal", "sealed"]

BLOCK = 512
"""Length of the user block in bytes, the least that HDF5 allows."""
VERSION = 1
"""Version of the format that this program writes."""
Kind = Literal["record", "calibration", "hookup"]

_LAST = "sha256 of the lines above: "
_KIND = re.compile(r"benchsweep (record|calibration|hookup) ([1-9][0-9]{0,5})\n")
_RESTORE = "Restore the file from a copy; the rest of the archive is not affected."


def sealed(kind: Kind, image: bytes) -> bytes:
    """Return `image`, an HDF5 file whose base address is `BLOCK`, with its block in front."""
    return _block(kind, len(image), hashlib.sha256(image).hexdigest()) + image


def _block(kind: str, length: int, digest: str) -> bytes:
    lines = (
        f"benchsweep {kind} {VERSION}\nbytes after this block: {length}\n"
        f"sha256 of the bytes after this block: {digest}\n"
    )
    lines += f"{_LAST}{_digest_of(lines)}\n"
    return lines.ljust(BLOCK - 1).encode("ascii") + b"\n"


def _digest_of(lines: str) -> str:
    return hashlib.sha256(lines.encode("ascii")).hexdigest()


def check_seal(path: Path, kind: Kind) -> None:
    """Check that `path` is a file of ours of that kind and that no byte of it has changed.

    Raises
    ------
    ArchiveError
        No such file, not a regular file, not readable.
    RecordDamaged
        Not a file of ours, another kind, truncated or changed.
    RecordNewer
        Written by a later version.
    """
    try:
        status = path.stat()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ArchiveError(f"{path}: cannot be read: {reason}", hint="Check the path.") from error
    except ValueError as error:
        raise ArchiveError(f"{str(path)!r}: no file can have this name", hint="Check the path.") from error
    if not stat.S_ISREG(status.st_mode):
        raise ArchiveError(f"{path}: not a file", hint=f"Name a {kind} file, its name ends in .h5.")
    with storage_errors(path, "reading"), path.open("rb") as stream:
        head = stream.read(BLOCK)
        length, digest = _read_block(path, head, kind)
        found = status.st_size - BLOCK
        if found != length:
            words = "truncated" if found < length else "longer than written"
            raise RecordDamaged(
                f"{path}: damaged: {words}, {found} bytes of data where {length} were stored", hint=_RESTORE
            )
        if hashlib.file_digest(stream, "sha256").hexdigest() != digest:
            raise RecordDamaged(
                f"{path}: damaged: its bytes do not match the checksum stored with them", hint=_RESTORE
            )


def _read_block(path: Path, head: bytes, kind: Kind) -> tuple[int, str]:
    text = head.decode("ascii", errors="replace")
    named = _KIND.match(text)
    if named is None:
        what = "an HDF5 file but not a" if head.startswith(b"\x89HDF\r\n\x1a\n") else "not a"
        raise RecordDamaged(
            f"{path}: {what} benchsweep {kind}", hint=f"Name a file that benchsweep wrote as a {kind}."
        )
    lines, found, check = text.partition(_LAST)
    if not found or check[:64] != _digest_of_or_none(lines):
        raise RecordDamaged(f"{path}: damaged in its first {BLOCK} bytes", hint=_RESTORE)
    if int(named[2]) > VERSION:
        raise RecordNewer(
            f"{path}: written in version {named[2]} of the format, this program reads up to {VERSION}",
            hint="Update benchsweep to read it.",
        )
    if named[1] != kind:
        raise RecordDamaged(f"{path}: a benchsweep {named[1]}, not a {kind}", hint=f"Name a {kind} file.")
    fields = re.search(r"\nbytes after this block: (\d{1,15})\nsha256 [a-z ]+: ([0-9a-f]{64})\n", lines)
    if fields is None or _block(kind, int(fields[1]), fields[2]) != head:
        raise RecordDamaged(f"{path}: damaged in its first {BLOCK} bytes", hint=_RESTORE)
    return int(fields[1]), fields[2]


def _digest_of_or_none(lines: str) -> str | None:
    return _digest_of(lines) if lines.isascii() else None
