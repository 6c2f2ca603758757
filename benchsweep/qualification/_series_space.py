"""How much room a series takes on the disc, and how much is missing when it is full."""

from __future__ import annotations

import errno
import math
import shutil
from pathlib import Path

from benchsweep import archive
from benchsweep.qualification._series_loop import Wishes
from benchsweep.records import SeriesHead

__all__ = ["disc_is_full", "missing_words", "packing_bytes", "size_words", "space_words", "sweep_room"]

_STRUCTURE_BYTES = 12_000
"""What one sweep takes on the disc besides its matrix, while it is a file of its own; measured."""
_PACKED_BYTES = 100_000
"""What a packed series takes besides its sweeps: calibration and structure; measured, rounded up."""
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def sweep_room(head: SeriesHead) -> int:
    """Return how many bytes one more sweep takes while the series is unfinished."""
    return archive.sweep_bytes(head) + _STRUCTURE_BYTES


def packing_bytes(writer: archive.SeriesWriter) -> int:
    """Return how many bytes the packed file takes, rounded up."""
    return writer.packed_bytes() + _PACKED_BYTES


def size_words(size: float) -> str:
    """Return a number of bytes for people."""
    for unit, factor in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= factor:
            return f"{size / factor:.3g} {unit}" if size < 100 * factor else f"{size / factor:.0f} {unit}"
    return f"{size:.0f} bytes"


def expected_sweeps(wishes: Wishes, seconds_each: float | None) -> int | None:
    """Return how many sweeps the wishes come to; None where that cannot be told."""
    counts = [] if wishes.count is None else [wishes.count]
    each_s = max((s for s in (wishes.every_s, seconds_each) if s), default=None)
    if wishes.lasting_s is not None and each_s is not None:
        counts.append(math.ceil(wishes.lasting_s / each_s))
    return min(counts, default=None)


def space_words(
    folder: Path, head: SeriesHead, wishes: Wishes, *, kept: int, seconds_each: float | None = None
) -> tuple[str, ...]:
    """Return lines about the room that sweeps take in `folder` and that is free there; a warning if need be.

    Packing needs the room of all matrices a second time, until the single files are dropped.

    Parameters
    ----------
    kept
        Sweeps that are there already.
    seconds_each
        How long a sweep takes, once that is known.
    """
    try:
        free = shutil.disk_usage(folder).free
    except OSError:
        return ()
    line = f"each sweep takes {size_words(sweep_room(head))}; {size_words(free)} are free in {folder}"
    total = expected_sweeps(wishes, seconds_each)
    if total is None:
        return (line,)
    single = total * sweep_room(head)
    packed = total * archive.sweep_bytes(head) + _PACKED_BYTES
    needed = max(total - kept, 0) * sweep_room(head) + packed
    line += f"; {_sweeps(total)}: {size_words(single)}, with {size_words(packed)} more while they are packed"
    if needed <= free:
        return (line,)
    return (line, f"warning: the disc is too small for that: {missing_words(folder, needed)}")


def missing_words(folder: Path, needed: int) -> str:
    """Return how many bytes are needed in `folder`, free there and missing."""
    try:
        free = shutil.disk_usage(folder).free
    except OSError:
        return f"{needed} bytes are needed in {folder}"
    missing = needed - free
    told = f"{missing} bytes are missing" if missing > 0 else "a quota may be in the way"
    return f"{needed} bytes are needed in {folder}, {free} are free: {told}"


def disc_is_full(error: BaseException) -> bool:
    """Tell whether an error comes from a full disc."""
    cause = error.__cause__
    return isinstance(cause, OSError) and cause.errno in _FULL


def _sweeps(count: int) -> str:
    return "1 sweep" if count == 1 else f"{count} sweeps"
