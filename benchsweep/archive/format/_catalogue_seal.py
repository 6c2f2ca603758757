"""The first bytes of a file of version 2: seal, then catalogue, then an HDF5 file.

The first 512 bytes hold six lines of ASCII text, filled up with spaces and one line feed::

    benchsweep record 2
    bytes in all: 18185786
    bytes before the HDF5 file: 32768
    sha256 of them from byte 512 on: <64 hexadecimal digits>
    sha256 of the HDF5 file without the arrays of the catalogue: <64 hexadecimal digits>
    sha256 of the lines above: <64 hexadecimal digits>

From byte 512 to where the HDF5 file begins (a power of two, so that HDF5 finds it) stands the catalogue,
filled up likewise. So every byte of the file is in exactly one sum: of the lines, of the catalogue, of one of
the arrays, or of the rest of the HDF5 file. Whoever wants one array checks the first three and no more.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from benchsweep.archive.format._catalogue import Catalogue, decoded
from benchsweep.archive.format._seal import BLOCK, RESTORE, Kind, Span, block_of, identified
from benchsweep.archive.places import Content, storage_errors
from benchsweep.errors import RecordDamaged

__all__ = ["VERSION", "CatalogueSeal", "base_for", "check_rest", "gaps", "padded", "read_catalogue"]

VERSION = 2
"""Version of the format that has a catalogue."""
_FIELDS = re.compile(
    r"[^\n]+\nbytes in all: (\d{1,18})\nbytes before the HDF5 file: (\d{1,18})\n"
    r"sha256 of them from byte 512 on: ([0-9a-f]{64})\n"
    r"sha256 of the HDF5 file without the arrays of the catalogue: ([0-9a-f]{64})\n"
)
_PIECE = 1 << 20


@dataclass(frozen=True, slots=True)
class CatalogueSeal:
    """What the lines say.

    Attributes
    ----------
    kind : str
        What the file is.
    size : int
        Bytes in all.
    base : int
        First byte of the HDF5 file.
    catalogue, rest : str
        Checksums of what stands before it, and of what of it is in none of the arrays.
    """

    kind: Kind
    size: int
    base: int
    catalogue: str
    rest: str

    def block(self) -> bytes:
        """Return the first 512 bytes."""
        return block_of(
            f"benchsweep {self.kind} {VERSION}\n"
            f"bytes in all: {self.size}\n"
            f"bytes before the HDF5 file: {self.base}\n"
            f"sha256 of them from byte {BLOCK} on: {self.catalogue}\n"
            f"sha256 of the HDF5 file without the arrays of the catalogue: {self.rest}\n"
        )


def base_for(length: int) -> int:
    """Return where the HDF5 file begins behind a catalogue of `length` bytes at most."""
    return max(1 << (BLOCK + length).bit_length(), 2 * BLOCK)


def padded(catalogue: bytes, base: int) -> bytes:
    """Return what stands between byte 512 and the HDF5 file."""
    return catalogue.ljust(base - BLOCK - 1) + b"\n"


def gaps(spans: Iterable[Span], start: int, end: int) -> Iterator[Span]:
    """Yield the stretches from `start` to `end` that are in none of the rising `spans`."""
    for span in spans:
        if span.start > start:
            yield Span(start, span.start - start)
        start = span.end
    if end > start:
        yield Span(start, end - start)


def read_catalogue(content: Content, head: bytes, kind: Kind) -> tuple[CatalogueSeal, Catalogue]:
    """Return seal and catalogue of a file of version 2 after checking both.

    Parameters
    ----------
    head
        The first 512 bytes.

    Raises
    ------
    RecordDamaged, RecordNewer
        Another kind, truncated, changed, or of a later version.
    ValueError, TypeError, KeyError
        The writer did not write a catalogue.
    """
    source = content.source
    _, lines = identified(source, head, kind)
    fields = _FIELDS.fullmatch(lines)
    seal = (
        None if fields is None else CatalogueSeal(kind, int(fields[1]), int(fields[2]), fields[3], fields[4])
    )
    if seal is None or seal.block() != head or not BLOCK < seal.base <= seal.size:
        raise RecordDamaged(f"{source}: damaged in its first {BLOCK} bytes", hint=RESTORE)
    if content.size != seal.size:
        words = "truncated" if content.size < seal.size else "longer than written"
        raise RecordDamaged(
            f"{source}: damaged: {words}, {content.size} bytes where {seal.size} were stored", hint=RESTORE
        )
    raw = bytearray(seal.base - BLOCK)
    with storage_errors(source, "reading"):
        content.fill(BLOCK, memoryview(raw))
    if hashlib.sha256(raw).hexdigest() != seal.catalogue:
        raise RecordDamaged(f"{source}: damaged: its catalogue does not match its checksum", hint=RESTORE)
    return seal, decoded(bytes(raw))


def check_rest(content: Content, seal: CatalogueSeal, catalogue: Catalogue) -> None:
    """Check what of the HDF5 file is in none of the arrays.

    Raises
    ------
    RecordDamaged
        It has changed.
    ValueError
        An array of the catalogue is outside of the HDF5 file, or two overlap.
    """
    spans = catalogue.spans()
    if spans and not seal.base <= spans[0].start <= spans[-1].end <= seal.size:
        raise ValueError("a data set claims bytes outside of the HDF5 file")
    digest = hashlib.sha256()
    buffer = memoryview(bytearray(_PIECE))
    with storage_errors(content.source, "reading"):
        for gap in gaps(spans, seal.base, seal.size):
            for start in range(gap.start, gap.end, _PIECE):
                piece = buffer[: min(_PIECE, gap.end - start)]
                content.fill(start, piece)
                digest.update(piece)
    if digest.hexdigest() != seal.rest:
        raise RecordDamaged(
            f"{content.source}: damaged: its bytes do not match the checksum stored with them", hint=RESTORE
        )
