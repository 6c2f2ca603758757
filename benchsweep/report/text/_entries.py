"""The texts of a file by key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, TypeAlias

__all__ = ["Entry", "TextsByTable", "entries"]

Entry: TypeAlias = "str | Mapping[str, str]"
"""A text, or its two forms ``one`` and ``other``."""

_FORMS = frozenset({"one", "other"})
_HEAD = re.compile(r"^\[([a-z][a-z0-9_-]*)", re.MULTILINE)


def entries(table: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    """Return key and value of every text in a table; a table with ``one`` and ``other`` alone is a value."""
    for name, value in table.items():
        key = f"{above}{name}"
        if isinstance(value, dict) and set(value) != _FORMS:
            yield from entries(value, f"{key}.")
        else:
            yield key, value


class TextsByTable(Mapping[str, Entry]):
    """The texts of a file, each table of it read when something of it is first asked for.

    A table on the terminal needs a tenth of all texts, and reading TOML is slow. It holds for a file in which
    no text has several lines and all tables of one part stand together; tests hold `en.toml` to that.

    Parameters
    ----------
    text
        What the file holds: TOML.
    """

    def __init__(self, text: str) -> None:
        heads = list(_HEAD.finditer(text))
        ends = [*(head.start() for head in heads[1:]), len(text)]
        self._unread: dict[str, str] = {}
        for head, end in zip(heads, ends, strict=True):
            self._unread[head[1]] = self._unread.get(head[1], "") + text[head.start() : end]
        self._read: dict[str, dict[str, Entry]] = {}

    def __getitem__(self, key: str) -> Entry:
        return self._part(key.partition(".")[0])[key]

    def __iter__(self) -> Iterator[str]:
        return (key for part in self._unread for key in self._part(part))

    def __len__(self) -> int:
        return sum(len(self._part(part)) for part in self._unread)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Mapping) and dict(self) == dict(other)

    __hash__ = None  # type: ignore[assignment]  # as of a dict

    def _part(self, part: str) -> dict[str, Entry]:
        """Return the texts of one part by key; none where there is no such part."""
        found = self._read.get(part)
        if found is None:
            found = self._read[part] = dict(entries(tomllib.loads(self._unread.get(part, ""))))
        return found
