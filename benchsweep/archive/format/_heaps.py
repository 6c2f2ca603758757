"""Where the HDF5 library keeps texts: the one structure of a file that it believes without a checksum.

Texts of any length stand in "global heap collections", each a list of objects that tell their own length. The
library goes through such a list when the first of its texts is asked for. An object that claims no length at
all keeps it there for ever, so the lists are gone through here before. The seal finds accidents; this is for
files that were sealed by whoever mangled them.

Source: HDF5 File Format Specification version 3.0, III.E "Disk Format: Level 1E - Global Heap".
"""

from __future__ import annotations

import struct

from benchsweep.archive.format._seal import Span
from benchsweep.archive.places import Content, storage_errors

__all__ = ["check_heaps"]

# Signature, version 1, three zero bytes.
_BEGIN = b"GCOL\x01\0\0\0"
_HEAD = struct.Struct("<8sQ")
# Number of the object, count of those that use it, four zero bytes, length.
_OBJECT = struct.Struct("<HHIQ")
_PIECE = 1 << 20


def check_heaps(content: Content, base: int, apart: Span | None = None) -> None:
    """Go through the heap collections of the HDF5 file that begins at byte `base`.

    Parameters
    ----------
    apart
        A stretch without any, which is not looked at.

    Raises
    ------
    ValueError
        A list would not end, or reaches beyond the file.
    """
    stretches = [Span(base, content.size - base)]
    if apart is not None:
        stretches = [Span(base, apart.start - base), Span(apart.end, content.size - apart.end)]
    with storage_errors(content.source, "reading"):
        for stretch in stretches:
            for start in _beginnings(content, stretch):
                _go_through(content, start)


def _beginnings(content: Content, stretch: Span) -> list[int]:
    """Return where collections begin, be it one or numbers that look like it."""
    found: list[int] = []
    buffer = bytearray(_PIECE)
    for start in range(stretch.start, stretch.end, _PIECE - len(_BEGIN) + 1):
        length = min(_PIECE, stretch.end - start)
        content.fill(start, memoryview(buffer)[:length])
        at = buffer.find(_BEGIN, 0, length)
        while at >= 0:
            found.append(start + at)
            at = buffer.find(_BEGIN, at + 1, length)
    return found


def _go_through(content: Content, start: int) -> None:
    head = bytearray(min(_HEAD.size, content.size - start))
    content.fill(start, memoryview(head))
    size = _HEAD.unpack(head)[1] if len(head) == _HEAD.size else 0
    if not _HEAD.size <= size <= content.size - start:
        raise ValueError("a heap of texts reaches beyond the file")
    raw = bytearray(size)
    content.fill(start, memoryview(raw))
    at = _HEAD.size
    while at + _OBJECT.size <= size:
        number, _, _, length = _OBJECT.unpack_from(raw, at)
        # Object 0 is the free room at the end, whose length counts its own head.
        step = length if number == 0 else _OBJECT.size + (length + 7) // 8 * 8
        if step < _OBJECT.size or at + step > size:
            raise ValueError("a heap of texts does not end")
        at += step
