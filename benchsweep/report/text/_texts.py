from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.report.text._entries import Entry, TextsByTable

if TYPE_CHECKING:
    from benchsweep.report.document import Line, Piece

__all__ = ["Texts", "english", "parts", "plural"]

_FIELD = re.compile(r"\{([a-z][a-z0-9_]*)\}")


@dataclass(frozen=True)
class Texts:
    """The words of a language.

    Parameters
    ----------
    language
        BCP 47 tag.
    entries
        Text, or forms of it, by key: ``verdict.all_pass``.
    """

    language: str
    entries: Mapping[str, Entry]
    _parts: dict[str, tuple[str, ...]] = field(default_factory=dict, repr=False, compare=False)

    def __call__(self, key: str, /, **fields: str | int) -> str:
        """Return the text `key`, its fields filled in.

        Raises
        ------
        KeyError
            No such text, or a field of it is not given.
        TypeError
            A field is given that the text has not.
        """
        made = self._made(key, fields)
        if len(made) == 1:
            return made[0]
        return "".join(part if i % 2 == 0 else str(fields[part]) for i, part in enumerate(made))

    def line(self, key: str, /, **fields: Piece | Line | int) -> Line:
        """Return the text `key` as a line; fields that are pieces or lines stay what they are.

        Raises
        ------
        KeyError, TypeError
            As when called.
        """
        from benchsweep.report.document import line

        made = self._made(key, fields)
        return line(*(part if i % 2 == 0 else _piece(fields[part]) for i, part in enumerate(made)))

    def __contains__(self, key: str) -> bool:
        return key in self.entries

    def _made(self, key: str, fields: Mapping[str, object]) -> tuple[str, ...]:
        """Return words and fields of a text in turn, words first."""
        entry = self.entries[key]
        form = "" if isinstance(entry, str) else plural(fields["count"])
        name = f"{key}.{form}" if form else key
        made = self._parts.get(name)
        if made is None:
            made = self._parts[name] = parts(entry if isinstance(entry, str) else entry[form])
        # `one` may leave out the count that chose it
        unknown = set(fields) - set(made[1::2]) - ({"count"} if form else set())
        if unknown:
            raise TypeError(f"text {key}: it has no field {', '.join(sorted(unknown))}")
        return made


def _piece(value: Piece | Line | int) -> Piece | Line:
    return str(value) if isinstance(value, int) else value


def plural(count: object) -> str:
    """Return the form that a count takes: ``one`` of 1, else ``other``."""
    return "one" if count == 1 else "other"


def parts(text: str) -> tuple[str, ...]:
    """Return words and names of fields in turn, words first and last.

    >>> parts("{count} of {total} m")
    ('', 'count', ' of ', 'total', ' m')
    """
    return tuple(_FIELD.split(text))


@cache
def english() -> Texts:
    """Return the English texts, those that are shipped."""
    # Not checked at every start: tests hold the shipped file to the rules for a translation.
    return Texts("en", TextsByTable(Path(__file__).with_name("en.toml").read_text(encoding="utf-8")))
