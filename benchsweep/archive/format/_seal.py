"""The first 512 bytes of every file of ours: what it is, and in version 1 a checksum over all the rest.

HDF5 lets a file begin with a "user block" that it never reads. Ours holds four lines of ASCII text::

    benchsweep calibration 1
    bytes after this block: 12345678
    sha256 of the bytes after this block: <64 hexadecimal digits>
    sha256 of the lines above: <64 hexadecimal digits>

filled up with spaces and one line feed. One pass over the file therefore finds every flipped byte, be it in
data, in the structure of the HDF5 file or in an unused gap, before the HDF5 library parses anything.
Later versions keep the first and the last line, so that an old program can tell newer from damaged; records
are written in version 2, see `_catalogue_seal`.

A series can hold many gigabytes of sweeps, each with a checksum of its own. Its seal leaves them out and says
so in one more line before the last, so that one sweep can be read without reading all::

    not in that sum: 258560000 bytes from byte 1106

The seal finds accidents, not intent: whoever changes a record on purpose can seal it again. Its content hash
is another one then, which a report names.
"""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import dataclass
from typing import Literal, get_args

from benchsweep.archive.places import (
    Content,
    Piece,
    Source,
    beginning,
    local_path,
    open_content,
    storage_errors,
)
from benchsweep.errors import ArchiveError, RecordDamaged, RecordNewer

__all__ = [
    "BLOCK",
    "LAST",
    "RESTORE",
    "TRANSIENT",
    "VERSION",
    "Kind",
    "Span",
    "block_of",
    "check_seal",
    "first_block",
    "identified",
    "kind_in",
    "kind_of",
    "seal_block",
    "sealed",
    "version_of",
]

BLOCK = 512
"""Length of the user block in bytes, the least that HDF5 allows."""
VERSION = 2
"""Latest version of the format, of any kind."""
Kind = Literal[
    "record",
    "calibration",
    "hookup",
    "series",
    "series-head",
    "series-sweep",
    "series-ending",
    "comment",
    "correction",
    "grading",
]
TRANSIENT: frozenset[Kind] = frozenset({"hookup", "series-sweep"})
"""Files of unfinished work, dropped when it is done: the seal alone protects them, as a whole.

Their items have no checksums. Earlier versions of this program gave them some, which nobody looks at.
"""

# Kinds that are written in version 2; all others are in version 1.
_CATALOGUED: frozenset[Kind] = frozenset({"record", "comment", "correction", "grading"})
LAST = "sha256 of the lines above: "
_KIND = re.compile(rf"benchsweep ({'|'.join(get_args(Kind))}) ([1-9][0-9]{{0,5}})\n")
_FIELDS = re.compile(
    r"\nbytes after this block: (\d{1,18})\nsha256 [a-z ]+: ([0-9a-f]{64})\n"
    r"(?:not in that sum: (\d{1,18}) bytes from byte (\d{1,18})\n)?"
)
_PIECE = 1 << 20
RESTORE = "Restore the file from a copy; the rest of the archive is not affected."


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a file: `length` bytes from byte `start`."""

    start: int
    length: int

    @property
    def end(self) -> int:
        """The first byte after it."""
        return self.start + self.length


def sealed(kind: Kind, *image: Piece) -> tuple[Piece, ...]:
    """Return the block before `image`, an HDF5 file in pieces whose base address is `BLOCK`, and `image`."""
    digest = hashlib.sha256()
    for piece in image:
        digest.update(piece)
    return seal_block(kind, sum(map(len, image)), digest.hexdigest()), *image


def seal_block(kind: Kind, length: int, digest: str, apart: Span | None = None) -> bytes:
    """Return the block of a file of `length` bytes besides; `apart` is what `digest` leaves out."""
    lines = (
        f"benchsweep {kind} 1\nbytes after this block: {length}\n"
        f"sha256 of the bytes after this block: {digest}\n"
    )
    if apart is not None:
        lines += f"not in that sum: {apart.length} bytes from byte {apart.start}\n"
    return block_of(lines)


def block_of(lines: str) -> bytes:
    """Return `lines`, closed by their checksum, as the first block of a file."""
    lines += f"{LAST}{_digest_of(lines)}\n"
    return lines.ljust(BLOCK - 1).encode("ascii") + b"\n"


def _digest_of(lines: str) -> str:
    return hashlib.sha256(lines.encode("ascii")).hexdigest()


def version_of(kind: Kind) -> int:
    """Return the version of the format in which that kind is written: 2 with a catalogue, else 1."""
    return 2 if kind in _CATALOGUED else 1


def kind_of(source: Source) -> Kind | None:
    """Return what the file at `source` says it is; None when it is no file of ours or cannot be read.

    Raises
    ------
    ArchiveError
        The store of an address cannot be read.
    """
    path = local_path(source)
    if path is None:
        return _kind_named(beginning(str(source), BLOCK))
    try:
        # Through the one door for files: a pipe or a device at this place would be waited for, for ever.
        with open_content(path, "benchsweep", whole=False) as content:
            return kind_in(content)
    except ArchiveError:
        return None


def kind_in(content: Content) -> Kind | None:
    """Return what an open file says it is; None when it is no file of ours.

    Raises
    ------
    ArchiveError
        It cannot be read.
    """
    return _kind_named(first_block(content))


def _kind_named(head: bytes) -> Kind | None:
    named = _KIND.match(head.decode("ascii", errors="replace"))
    return next((kind for kind in get_args(Kind) if named is not None and kind == named[1]), None)


def check_seal(content: Content, kind: Kind) -> Span | None:
    """Check that `content` is a file of ours of that kind and that no byte of it has changed.

    Returns
    -------
    The stretch that this check leaves out, because every part of it has a checksum of its own: the sweeps of
    a series. None for any other kind.

    Raises
    ------
    ArchiveError
        It cannot be read to its end.
    RecordDamaged
        Not a file of ours, another kind, truncated or changed.
    RecordNewer
        Written by a later version.
    """
    source, stream = content.source, content.stream
    with storage_errors(source, "reading"):
        stream.seek(0)
        head = stream.read(BLOCK)
        length, digest, apart = _read_block(source, head, kind)
        found = content.size - BLOCK
        if found != length:
            words = "truncated" if found < length else "longer than written"
            raise RecordDamaged(
                f"{source}: damaged: {words}, {found} bytes of data where {length} were stored", hint=RESTORE
            )
        if _digest_without(stream, apart) != digest:
            raise RecordDamaged(
                f"{source}: damaged: its bytes do not match the checksum stored with them", hint=RESTORE
            )
    return apart


def _digest_without(stream: io.RawIOBase, apart: Span | None) -> str:
    """Return the checksum of the rest of `stream`, which stands behind the block, without `apart`."""
    digest = hashlib.sha256()
    if apart is not None:
        left = apart.start - BLOCK
        while left > 0 and (piece := stream.read(min(left, _PIECE))):
            digest.update(piece)
            left -= len(piece)
        stream.seek(apart.end)
    while piece := stream.read(_PIECE):
        digest.update(piece)
    return digest.hexdigest()


def first_block(content: Content) -> bytes:
    """Return the first 512 bytes, or as many as there are.

    Raises
    ------
    ArchiveError
        They cannot be read.
    """
    head = bytearray(min(BLOCK, content.size))
    with storage_errors(content.source, "reading"):
        content.fill(0, memoryview(head))
    return bytes(head)


def identified(source: Source, head: bytes, kind: Kind) -> tuple[int, str]:
    """Return the version of a file of ours of that kind, and the lines of its first block but the last.

    Raises
    ------
    RecordDamaged
        Not a file of ours, another kind, or damaged in its first block.
    RecordNewer
        Written by a later version.
    """
    text = head.decode("ascii", errors="replace")
    named = _KIND.match(text)
    if named is None:
        what = "an HDF5 file but not a" if head.startswith(b"\x89HDF\r\n\x1a\n") else "not a"
        raise RecordDamaged(
            f"{source}: {what} benchsweep {kind}", hint=f"Name a file that benchsweep wrote as a {kind}."
        )
    lines, found, check = text.partition(LAST)
    if not found or check[:64] != _digest_of_or_none(lines):
        raise RecordDamaged(f"{source}: damaged in its first {BLOCK} bytes", hint=RESTORE)
    version, latest = int(named[2]), version_of(kind)
    if version > (latest if named[1] == kind else VERSION):
        raise RecordNewer(
            f"{source}: written in version {version} of the format, this program reads up to {latest}",
            hint="Update benchsweep to read it.",
        )
    if named[1] != kind:
        raise RecordDamaged(f"{source}: a benchsweep {named[1]}, not a {kind}", hint=f"Name a {kind} file.")
    return version, lines


def _read_block(source: Source, head: bytes, kind: Kind) -> tuple[int, str, Span | None]:
    _, lines = identified(source, head, kind)
    fields = _FIELDS.search(lines)
    if fields is not None:
        length, apart = int(fields[1]), None
        if fields[3] is not None:
            apart = Span(int(fields[4]), int(fields[3]))
        inside = apart is None or (BLOCK <= apart.start and apart.end <= BLOCK + length)
        fits = (apart is not None) == (kind == "series")
        if inside and fits and seal_block(kind, length, fields[2], apart) == head:
            return length, fields[2], apart
    raise RecordDamaged(f"{source}: damaged in its first {BLOCK} bytes", hint=RESTORE)


def _digest_of_or_none(lines: str) -> str | None:
    return _digest_of(lines) if lines.isascii() else None
