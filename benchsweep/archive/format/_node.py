"""A group of an open file, whatever it is read from: each access is checked, and errors name the item."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format._seal import Span
from benchsweep.archive.places import Source
from benchsweep.errors import RecordDamaged

__all__ = ["RESTORE", "Node"]

RESTORE = "Restore the file from a copy, or ask whoever wrote it."


class Node(ABC):
    """A group of an open file.

    Attributes
    ----------
    where : str
        Its path in the file: ``/corrected``.
    path : Path or str
        The file, or its address, for messages.
    apart : Span or None
        The stretch of the file that its seal leaves out: of a series only.
    """

    where: str
    path: Source
    apart: Span | None = None

    def wrong(self, name: str, words: str) -> RecordDamaged:
        """Return the error that says what is wrong with the item `name`."""
        return RecordDamaged(f"{self.path}: {self.below(name)}: {words}", hint=RESTORE)

    def below(self, name: str) -> str:
        """Return the path of the item `name` in this group."""
        return f"{self.where.rstrip('/')}/{name}"

    @property
    def name(self) -> str:
        """The last part of the path of the group."""
        return self.where.rpartition("/")[2]

    def child(self, name: str) -> Node:
        """Return the group `name`."""
        found = self.optional(name)
        if found is None:
            raise self.wrong(name, "this group is missing")
        return found

    def children(self) -> Iterator[Node]:
        """Yield the groups in this one, by name."""
        for name in sorted(self.names()):
            yield self.child(name)

    def table(self, name: str, key: str, value: str) -> dict[str, float]:
        """Return name -> number from the group `name` with the data sets `key` and `value`."""
        group = self.child(name)
        return dict(zip(group.texts(key), group.array(value, np.float64, 1).tolist(), strict=True))

    @abstractmethod
    def optional(self, name: str) -> Node | None:
        """Return the group `name`, None when there is none."""

    @abstractmethod
    def names(self) -> list[str]:
        """Return the names of the groups and data sets in this one."""

    @abstractmethod
    def has(self, name: str) -> bool:
        """Tell whether there is an attribute `name`."""

    @abstractmethod
    def contains(self, name: str) -> bool:
        """Tell whether there is a data set or group `name`."""

    @abstractmethod
    def text(self, name: str) -> str:
        """Return a text attribute."""

    @abstractmethod
    def number(self, name: str) -> float:
        """Return a number attribute."""

    @abstractmethod
    def whole(self, name: str) -> int:
        """Return a whole-number attribute."""

    @abstractmethod
    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts."""

    @abstractmethod
    def long_text(self, name: str) -> str:
        """Return one text stored as a data set."""

    @abstractmethod
    def array(self, name: str, dtype: type, dimensions: int) -> NDArray[Any]:
        """Return a numeric data set of exactly that type and number of dimensions, read-only."""

    @abstractmethod
    def numbers(self, name: str, dtype: type, dimensions: int) -> Any:
        """Return a numeric data set of exactly that type and number of dimensions, perhaps not read yet."""

    @abstractmethod
    def length(self, name: str) -> int:
        """Return how many entries the data set `name` has along its first dimension."""
