"""Pack the sweeps of an unfinished series into one sealed HDF5 file, one sweep at a time.

The HDF5 library never sees the disc. It writes into a `HollowFile` in memory, which knows where the sweeps
are to stand but has no room for them; the sweeps are written to the real file, one after the other. So a full
disc is an ordinary error of one write, and memory holds only the structure and some two hundred bytes for
each sweep.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import BinaryIO, Protocol

import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format import BLOCK, Block, HollowFile, fill, new_image, seal_block
from benchsweep.archive.places import storage_errors
from benchsweep.archive.series._convert import events_block, head_tree
from benchsweep.errors import RecordDamaged
from benchsweep.records import SeriesEnding, SeriesEvent, SeriesHead, SeriesSweep

__all__ = ["damage_of", "number_words", "pack", "refuse_damage"]

_S = "/sweeps/s"


class _Source(Protocol):
    """Where the sweeps are."""

    folder: Path
    head: SeriesHead
    series: str

    def numbers(self) -> list[int]:
        """Return the numbers that are there, rising."""

    def sweep(self, number: int) -> SeriesSweep:
        """Read one."""


def pack(source: _Source, ending: SeriesEnding, partial: Path, *, lost: Mapping[int, str]) -> None:
    """Write the packed file as `partial`, durable but without its name.

    Parameters
    ----------
    lost
        Number -> reason of the sweeps that are left out, which the file then says, also in its ending.

    Raises
    ------
    ArchiveLocked, RecordDamaged, ArchiveError
    """
    numbers = [number for number in source.numbers() if number not in lost]
    if not numbers:
        raise RecordDamaged(f"{source.folder}: no sweep can be read", hint="Restore the files from a copy.")
    if lost:
        ending = replace(ending, reason=f"{ending.reason}; damaged, so left out: {number_words(lost)}")
    try:
        with storage_errors(partial.parent, "packing"), partial.open("xb") as stream:
            _write(stream, source, numbers, lost, ending)
            stream.flush()
            os.fsync(stream.fileno())
    except BaseException:
        partial.unlink(missing_ok=True)
        raise


def damage_of(source: _Source, *, look: bool) -> dict[int, str]:
    """Return number -> reason of the sweeps up to the last one that cannot be read, rising.

    Parameters
    ----------
    look
        Read every sweep; else only those are told whose file is missing.

    Raises
    ------
    ArchiveError
    """
    there = source.numbers()
    lost = dict.fromkeys(sorted(set(range(1, max(there, default=0) + 1)) - set(there)), "its file is missing")
    for number in there if look else ():
        try:
            source.sweep(number)
        except RecordDamaged as error:
            lost[number] = error.message
    return dict(sorted(lost.items()))


def refuse_damage(source: _Source, lost: Mapping[int, str]) -> None:
    """Raise RecordDamaged that names every sweep of `lost`, when there is one."""
    if not lost:
        return
    total = max((*source.numbers(), *lost))
    raise RecordDamaged(
        f"{source.folder}: of {total} sweeps {len(lost)} cannot be read: {number_words(lost)}; of the first: "
        f"{next(iter(lost.values()))}",
        hint="Restore their files from a copy, or pack the others with --finish --leave-out-damaged.",
    )


def number_words(numbers: Iterable[int]) -> str:
    """Return rising numbers in words: ``sweep 5``, ``sweeps 2, 5 to 9``."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    told = [str(a) if a == b else f"{a} to {b}" if b > a + 1 else f"{a}, {b}" for a, b in runs]
    one = len(runs) == 1 and runs[0][0] == runs[0][1]
    return f"{'sweep' if one else 'sweeps'} {', '.join(told)}"


@dataclass
class _Tables:
    """What is kept of each sweep besides its matrix."""

    count: int
    digests: NDArray[np.uint8] = field(init=False)
    seconds: NDArray[np.float64] = field(init=False)
    state: NDArray[np.int64] = field(init=False)
    taken_at: list[str] = field(default_factory=list)
    ambient: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    states: dict[tuple[tuple[str, str], ...], int] = field(default_factory=dict)
    events: list[SeriesEvent] = field(default_factory=list)
    before: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.digests = np.zeros((self.count, 32), dtype=np.uint8)
        self.seconds = np.zeros(self.count)
        self.state = np.zeros(self.count, dtype=np.int64)

    def add(self, place: int, sweep: SeriesSweep, digest: bytes) -> None:
        """Keep what belongs to the sweep at `place`."""
        raw = sweep.sweep
        self.digests[place] = np.frombuffer(digest, dtype=np.uint8)
        self.seconds[place] = raw.seconds
        self.taken_at.append(raw.taken_at)
        self.state[place] = self.states.setdefault(tuple(raw.state.items()), len(self.states))
        for name, value in sweep.ambient.items():
            self.ambient.setdefault(name, np.full(self.count, np.nan))[place] = value
        self.note(sweep.number, sweep.events)

    def note(self, before: int, events: Sequence[SeriesEvent]) -> None:
        """Keep what happened before the sweep of that number."""
        self.events += events
        self.before += [before] * len(events)


def _write(
    stream: BinaryIO, source: _Source, numbers: list[int], lost: Mapping[int, str], ending: SeriesEnding
) -> None:
    head = source.head
    n = len(head.hookup.analyzer_ports)
    shape = (len(numbers), head.frequency_hz.size, n, n)
    hollow = HollowFile()
    with new_image(hollow, BLOCK) as file:
        _, hole = hollow.reserve(file.create_group("sweeps").id, "s", np.dtype("<c16"), shape)
        tables, digest = _Tables(len(numbers)), hashlib.sha256()
        stream.seek(hole.start)
        left = dict(lost)
        for place, number in enumerate(numbers):
            sweep = source.sweep(number)
            content = np.ascontiguousarray(sweep.sweep.s, dtype="<c16").data
            stream.write(content)
            digest.update(content)
            for gone in [gone for gone in left if gone < number]:
                tables.note(gone, [_loss(gone, left.pop(gone), ending)])
            tables.add(place, sweep, hashlib.sha256(content).digest())
        for gone, why in left.items():
            tables.note(gone, [_loss(gone, why, ending)])
        tables.note(max(numbers[-1], *lost, 0) + 1, ending.events)
        fill(file, "series", _tree(source, numbers, tables, ending), {_S: digest.hexdigest()})
    rest = hollow.content
    before, after = rest[BLOCK : hole.start], rest[hole.start :]
    stream.write(after)
    sealed = hashlib.sha256(before)
    sealed.update(after)
    stream.seek(0)
    stream.write(seal_block("series", len(rest) + hole.length - BLOCK, sealed.hexdigest(), hole))
    stream.write(before)


def _loss(number: int, why: str, ending: SeriesEnding) -> SeriesEvent:
    return SeriesEvent(ending.ended_at, "lost", f"sweep {number} is left out: {why}")


def _tree(source: _Source, numbers: list[int], tables: _Tables, ending: SeriesEnding) -> dict[str, Block]:
    tree = head_tree(source.head)
    tree["/"].attributes |= {
        "series": source.series,
        "sweeps": len(numbers),
        "ended_at": ending.ended_at,
        "ending": ending.reason,
    }
    rows = [(number, *pair) for pairs, number in tables.states.items() for pair in pairs]
    values = list(tables.ambient.values())
    return tree | {
        "/sweeps": Block(
            data={
                "s_sha256": tables.digests,
                "number": np.array(numbers, dtype=np.int64),
                "taken_at": tuple(tables.taken_at),
                "seconds": tables.seconds,
                "state": tables.state,
            }
        ),
        "/states": Block(
            data={
                "set": np.array([row[0] for row in rows], dtype=np.int64),
                "question": tuple(row[1] for row in rows),
                "answer": tuple(row[2] for row in rows),
            }
        ),
        "/ambient": Block(
            data={
                "name": tuple(tables.ambient),
                "value": np.stack(values, axis=1) if values else np.zeros((len(numbers), 0)),
            }
        ),
        "/events": events_block(tables.events, tables.before),
    }
