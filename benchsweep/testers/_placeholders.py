"""What a person must replace in the template of an accuracy file, and whether it still stands there."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from benchsweep.errors import DefinitionError

__all__ = ["refuse_placeholders"]

_TEMPLATE = Path(__file__).with_name("accuracies") / "template.toml"
# Words of the template that say nothing of a tester, and figures that none has. Bands, meaning and standing
# are those of many a tester, and may stay.
_WORDS = frozenset({"name", "description", "source", "tester", "level"})
_FIGURES = frozenset({"figure", "a", "floor", "cap", "relative_percent", "near_limit_db"})
_MOST_NAMED = 6


def refuse_placeholders(text: str, where: str) -> None:
    """Refuse an accuracy file in which something of the template still stands.

    Parameters
    ----------
    text
        TOML that was validated.
    where
        Names the file in the error.

    Raises
    ------
    DefinitionError
        It does; the message names key and value.
    """
    left = [
        (key, value)
        for key, last, value in _leaves(tomllib.loads(text))
        if (last, _compared(value)) in _placeholders()
    ]
    if left:
        key, value = left[0]
        more = ", ".join(name for name, _ in left[1:_MOST_NAMED])
        dots = f" and {len(left) - _MOST_NAMED} more" if len(left) > _MOST_NAMED else ""
        raise DefinitionError(
            f"{where}: {key}: {value!r} still stands there from the template, nothing is declared by it",
            hint="Write what the documents of the tester say, or take the line out."
            + (f" The same holds for {more}{dots}." if more else ""),
        )


@cache
def _placeholders() -> frozenset[tuple[str, str | float]]:
    """Return kind of key and value of what the template holds in place of facts.

    A figure counts wherever a figure may stand: the template shows some of them in comments.
    """
    template = tomllib.loads(_TEMPLATE.read_text(encoding="utf-8"))
    return frozenset((last, _compared(value)) for _, last, value in _leaves(template))


def _compared(value: str | float) -> str | float:
    """Return a text without what an editor changes by itself: line breaks, blanks, capitals."""
    return " ".join(value.split()).casefold() if isinstance(value, str) else value


def _leaves(data: Any, key: str = "", last: str = "") -> Iterator[tuple[str, str, str | float]]:
    """Yield key, what kind of key it is, and value of each text and figure that a person has to write."""
    if isinstance(data, Mapping):
        for name, value in data.items():
            yield from _leaves(value, f"{key}.{name}" if key else str(name), str(name))
    elif isinstance(data, list):
        for place, value in enumerate(data):
            yield from _leaves(value, f"{key}[{place}]", last)
    elif last in _WORDS and isinstance(data, str):
        yield key, last, data
    elif last in _FIGURES and isinstance(data, int | float):
        yield key, "figure", float(data)
