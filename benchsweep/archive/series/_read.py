"""Read a series one sweep at a time, be it packed or still a folder."""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format import Node, Span, check_items, content_digest, kind_of, opened
from benchsweep.archive.places import Source, is_folder, local_path, storage_errors
from benchsweep.archive.series._convert import read_events, read_head_node
from benchsweep.archive.series._folder import HEAD, SweepFiles
from benchsweep.errors import ArchiveError, RecordDamaged, UsageError
from benchsweep.records import RawSweep, SeriesEnding, SeriesEvent, SeriesHead, SeriesSweep

__all__ = [
    "SeriesReader",
    "check_series",
    "is_series",
    "list_unfinished",
    "open_series",
    "read_series_head",
    "read_series_sweep",
]

_RESTORE = (
    "Restore the file from a copy. The other sweeps are sound: `show --sweep N` and `grade --sweep N` read "
    "one of them, `show --leave-out-damaged` and `report --leave-out-damaged` all."
)


class SeriesReader(ABC):
    """An open series.

    Attributes
    ----------
    path : Path or str
        The file, or its address, or the folder of an unfinished one.
    head : SeriesHead
        What all sweeps share.
    numbers : tuple of int
        Numbers of the sweeps that are there, rising.
    lost : tuple of int
        Numbers that are not there although a later one is.
    ending : SeriesEnding or None
        How it ended; None while it is recorded or when that was cut off.
    content_hash : str
        Hash that names the content; empty for an unfinished one.
    """

    def __init__(
        self,
        path: Source,
        head: SeriesHead,
        numbers: tuple[int, ...],
        ending: SeriesEnding | None,
        content_hash: str,
    ) -> None:
        self.path = path
        self.head = head
        self.numbers = numbers
        self.ending = ending
        self.content_hash = content_hash
        self._there = frozenset(numbers)
        self.lost = tuple(sorted(set(range(1, numbers[-1] + 1)) - self._there)) if numbers else ()

    @abstractmethod
    def sweep(self, number: int) -> SeriesSweep:
        """Read the sweep of that number, after its checksum has shown that nothing changed.

        Raises
        ------
        UsageError
            There is no such sweep.
        ArchiveError
            There is none at all yet.
        RecordDamaged
        """

    def sweeps(self) -> Iterator[SeriesSweep]:
        """Read one sweep after the other; only one is in memory.

        Raises
        ------
        RecordDamaged, ArchiveError
        """
        for number in self.numbers:
            yield self.sweep(number)

    def events(self) -> tuple[SeriesEvent, ...]:
        """Return all that happened, in order; of an unfinished series every sweep is read for it.

        Raises
        ------
        RecordDamaged, ArchiveError
        """
        after = () if self.ending is None else self.ending.events
        return (*(event for sweep in self.sweeps() for event in sweep.events), *after)

    def events_until(self, number: int) -> tuple[tuple[int, SeriesEvent], ...]:
        """Return (number of the sweep before which it happened, event) up to the sweep of that number.

        Of an unfinished series these sweeps are read for it; what a damaged one knew is not told.

        Raises
        ------
        ArchiveError
        """
        found: list[tuple[int, SeriesEvent]] = []
        for earlier in self.numbers:
            if earlier <= number:
                with suppress(RecordDamaged):
                    found += [(earlier, event) for event in self.sweep(earlier).events]
        return tuple(found)

    def _refuse_unknown(self, number: int) -> None:
        if number in self._there:
            return
        if not self.numbers:
            raise ArchiveError(f"{self.path}: holds no sweep yet", hint="Wait until one is finished.")
        what = "is lost" if number in self.lost else "is not there"
        raise UsageError(
            f"{self.path}: sweep {number} {what}; it holds sweeps {self.numbers[0]} to {self.numbers[-1]}",
            hint="Name one of them.",
        )


class _Unfinished(SeriesReader):
    def __init__(self, folder: Path) -> None:
        self._files = SweepFiles(folder)
        numbers = tuple(self._files.numbers())
        ending = self._files.ending()
        if ending is not None and ending[1] != (numbers[-1] if numbers else 0):
            ending = None  # it was gone on with
        super().__init__(folder, self._files.head, numbers, None if ending is None else ending[0], "")

    def sweep(self, number: int) -> SeriesSweep:
        self._refuse_unknown(number)
        return self._files.sweep(number)


class _Packed(SeriesReader):
    def __init__(self, path: Source, root: Node) -> None:
        head = read_head_node(root)
        sweeps = root.child("sweeps")
        numbers = tuple(sweeps.array("number", np.int64, 1).tolist())
        self._sweeps, self._count = sweeps, len(numbers)
        self._places = {number: place for place, number in enumerate(numbers)}
        if not numbers or numbers[0] < 1 or any(b <= a for a, b in pairwise(numbers)):
            raise sweeps.wrong("number", "sweeps should count up from 1")
        if root.whole("sweeps") != self._count:
            raise root.wrong("@sweeps", f"{root.whole('sweeps')} where {self._count} are stored")
        self._s = self._matrices(sweeps, head)
        self._digests = self._column(sweeps, "s_sha256", np.uint8, 2)
        self._seconds = self._column(sweeps, "seconds", np.float64, 1)
        self._state = self._column(sweeps, "state", np.int64, 1)
        self._taken_at = sweeps.texts("taken_at")
        if len(self._taken_at) != self._count or self._digests.shape[1] != hashlib.sha256().digest_size:
            raise sweeps.wrong("taken_at", f"not one entry for each of {self._count} sweeps")
        self._states = _states(root)
        self._ambient_names = root.child("ambient").texts("name")
        self._ambient = self._column(root.child("ambient"), "value", np.float64, 2)
        if self._ambient.shape[1] != len(self._ambient_names):
            raise root.wrong("ambient/value", f"not one column for each of {len(self._ambient_names)} names")
        self._events = _events(root.child("events"), numbers)
        after = self._events.get(len(numbers), ())
        ending = SeriesEnding(root.text("ended_at"), root.text("ending"), after)
        super().__init__(path, head, numbers, ending, content_digest(root))
        told = _told_as_lost(root.child("events"))
        gone = next((number for number in self.lost if number not in told), None)
        if gone is not None:
            raise sweeps.wrong("number", f"sweep {gone} is missing, and nothing says that it was lost")

    def sweep(self, number: int) -> SeriesSweep:
        self._refuse_unknown(number)
        place = self._places[number]
        s = self._s[place]
        content = np.ascontiguousarray(s, dtype="<c16").data
        if hashlib.sha256(content).digest() != self._digests[place].tobytes():
            raise RecordDamaged(
                f"{self.path}: sweep {number} is damaged: it does not match its checksum", hint=_RESTORE
            )
        readings = zip(self._ambient_names, self._ambient[place].tolist(), strict=True)
        return SeriesSweep(
            number=number,
            sweep=RawSweep(
                frequency_hz=self.head.frequency_hz,
                s=s,
                analyzer_ports=self.head.hookup.analyzer_ports,
                taken_at=self._taken_at[place],
                seconds=float(self._seconds[place]),
                state=self._state_of(place),
            ),
            ambient={name: value for name, value in readings if not np.isnan(value)},
            events=self._events.get(place, ()),
        )

    def events(self) -> tuple[SeriesEvent, ...]:
        """Return all that happened, in order."""
        return tuple(event for place in sorted(self._events) for event in self._events[place])

    def events_until(self, number: int) -> tuple[tuple[int, SeriesEvent], ...]:
        """Return (number of the sweep before which it happened, event) up to the sweep of that number."""
        places = [place for place in sorted(self._events) if place < self._count]
        of = [(self.numbers[place], self._events[place]) for place in places]
        return tuple((before, event) for before, events in of if before <= number for event in events)

    def _state_of(self, place: int) -> Mapping[str, str]:
        state = self._states.get(int(self._state[place]))
        return {} if state is None else state

    def _matrices(self, sweeps: Node, head: SeriesHead) -> Any:
        item = sweeps.numbers("s", np.complex128, 4)
        n = len(head.hookup.analyzer_ports)
        shape = (self._count, head.frequency_hz.size, n, n)
        if item.shape != shape:
            raise sweeps.wrong("s", f"shape {item.shape} where {shape} is expected")
        stands = Span(item.id.get_offset() or 0, item.id.get_storage_size())
        if stands != sweeps.apart:
            raise sweeps.wrong("s", "stands somewhere else than the seal of the file says")
        return item

    def _column(self, node: Node, name: str, dtype: type, dimensions: int) -> NDArray[Any]:
        values = node.array(name, dtype, dimensions)
        if values.shape[0] != self._count:
            raise node.wrong(name, f"{values.shape[0]} rows for {self._count} sweeps")
        return values


def _states(root: Node) -> dict[int, Mapping[str, str]]:
    node = root.child("states")
    found: dict[int, dict[str, str]] = {}
    columns = (node.array("set", np.int64, 1).tolist(), node.texts("question"), node.texts("answer"))
    for number, question, answer in zip(*columns, strict=True):
        found.setdefault(number, {})[question] = answer
    return {number: MappingProxyType(state) for number, state in found.items()}


def _events(node: Node, numbers: tuple[int, ...]) -> dict[int, tuple[SeriesEvent, ...]]:
    """Return place of a sweep -> what happened since the one before; one place further: after the last."""
    before = node.array("before", np.int64, 1)
    places = np.searchsorted(np.array(numbers), before).tolist()
    found: dict[int, tuple[SeriesEvent, ...]] = {}
    for place, event in zip(places, read_events(node), strict=True):
        found[place] = (*found.get(place, ()), event)
    return found


def _told_as_lost(node: Node) -> set[int]:
    kinds = zip(node.array("before", np.int64, 1).tolist(), node.texts("kind"), strict=True)
    return {before for before, kind in kinds if kind == "lost"}


def is_series(source: Source) -> bool:
    """Tell whether `source` is a series: a packed file, or the folder of an unfinished one."""
    path = local_path(source)
    if path is not None and is_folder(path):
        return kind_of(path / HEAD) == "series-head"
    return kind_of(source) == "series"


def list_unfinished(folder: Path) -> tuple[Path, ...]:
    """Return the folders of unfinished series in `folder`, or in the archive `folder`; none is fine.

    Raises
    ------
    ArchiveLocked, ArchiveError
        It cannot be listed.
    """
    found: list[Path] = []
    for place in (Path(folder), Path(folder) / "unfinished"):
        with storage_errors(place, "listing"):
            if place.is_dir():
                found += [path for path in place.iterdir() if (path / HEAD).is_file()]
    return tuple(sorted(found))


@contextmanager
def open_series(source: Source) -> Iterator[SeriesReader]:
    """Open a series to read it one sweep at a time; sweeps are checked as they are read.

    Parameters
    ----------
    source
        A packed series, or the folder of an unfinished one, also while it is recorded. A series at an address
        is fetched whole into memory.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    path = local_path(source)
    if path is not None and is_folder(path):
        yield _Unfinished(path)
        return
    with opened(source, "series", whole=False) as root:
        yield _Packed(source, root)


def read_series_head(source: Source) -> SeriesHead:
    """Read what all sweeps of a series share.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    with open_series(source) as reader:
        return reader.head


def read_series_sweep(source: Source, number: int) -> SeriesSweep:
    """Read one sweep of a series without reading the others.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    with open_series(source) as reader:
        return reader.sweep(number)


def check_series(source: Source) -> None:
    """Check a series through and through: every byte, the checksum of every item, that no sweep is missing.

    Memory does not grow with the number of sweeps.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
        The message names what does not match, or which sweep is missing.
    """
    path = local_path(source)
    if path is not None and is_folder(path):
        reader: SeriesReader = _Unfinished(path)
        if reader.lost:
            raise RecordDamaged(
                f"{path}: sweep {reader.lost[0]} is missing ({len(reader.lost)} in all)",
                hint="Restore its file from a copy.",
            )
        for _ in reader.sweeps():
            pass
        return
    with opened(source, "series", whole=False) as root:
        reader = _Packed(source, root)
        for _ in reader.sweeps():
            pass
        check_items(root)
