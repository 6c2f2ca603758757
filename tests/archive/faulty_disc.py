"""A disc whose calls fail on demand: the calls of the operating system, where the archive makes them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

import pytest

Fault = Literal["refused", "gone", "answer lost"]
"""What happens at the chosen call: it fails; it and all after it fail, as on a drive that was taken off; it
is carried out but the answer says that it failed, as on a network drive."""

CALLS = ("open", "write", "fsync", "close", "link", "rename", "replace", "unlink", "mkdir")


class FaultyDisc:
    """Counts the calls that touch a folder, and makes one of them fail.

    Parameters
    ----------
    below
        Only calls on paths below this, and on files opened there, count.
    fail_at
        Number of the call that fails, from 1; 0 for none.
    number
        Its error number.
    """

    def __init__(self, below: Path, fail_at: int = 0, number: int = 0, fault: Fault = "refused") -> None:
        self.calls: list[str] = []
        self._below = f"{below}{os.sep}"
        self._fail_at, self._number, self._fault = fail_at, number, fault
        self._open: set[int] = set()
        self.largest_write: int | None = None

    @contextmanager
    def mounted(self, monkeypatch: pytest.MonkeyPatch) -> Iterator[FaultyDisc]:
        """Stand between the program and the operating system."""
        with monkeypatch.context() as patch:
            for name in CALLS:
                patch.setattr(os, name, self._standing_in(name, getattr(os, name)))
            yield self

    def _standing_in(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(first: Any, *others: Any, **named: Any) -> Any:
            inside = first in self._open if isinstance(first, int) else self._is_below(first)
            if not inside:
                return real(first, *others, **named)
            self.calls.append(name)
            strikes = self._fail_at and (
                len(self.calls) == self._fail_at
                or (self._fault == "gone" and len(self.calls) > self._fail_at)
            )
            if name == "close":
                self._open.discard(first)
                real(first)  # a descriptor is gone whatever close answers
            if strikes and (self._fault != "answer lost" or name in ("open", "write")):
                raise OSError(self._number, os.strerror(self._number), str(first))
            if name != "close":
                if name == "write" and self.largest_write is not None:
                    others = (others[0][: self.largest_write],)
                given = real(first, *others, **named)
                if name == "open":
                    self._open.add(given)
            if strikes:
                raise OSError(self._number, os.strerror(self._number), str(first))
            return None if name == "close" else given

        return call

    def _is_below(self, path: Any) -> bool:
        return f"{os.fspath(path)}{os.sep}".startswith(self._below)


def contents(folder: Path) -> dict[str, bytes]:
    """Return name -> bytes of every file in `folder` and below that has a name of its own."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }
