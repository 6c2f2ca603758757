"""The tester's names of parameters, ends and pairs, and ours."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from benchsweep.records import FOUR_PAIRS, End, Parameter
from benchsweep.testers._mapping import Names
from benchsweep.testers._understood import parameter_called, understood_names

__all__ = ["Translator", "WrongName", "folded", "right_pairs", "usual_key"]

COMBINATIONS = frozenset(
    {Parameter.NEXT, Parameter.FEXT, Parameter.ACR_N, Parameter.ACR_F, Parameter.SKEW},
)
UNORDERED = frozenset({Parameter.NEXT, Parameter.SKEW})
WITHOUT_END = frozenset({Parameter.DELAY, Parameter.SKEW})
_AVERAGES = frozenset({Parameter.PS_ANEXT_AVERAGE, Parameter.PS_AACR_F_AVERAGE})
_SPACES = re.compile(r"\s+")
_PARTS = re.compile(r"[-_\s]+")


class WrongName(ValueError):
    """A name that means nothing here; the text says which are known."""


def folded(text: str) -> str:
    """Return `text` as names are compared: no case, one space in place of several, none around.

    Examples
    --------
    >>> folded("  Return   Loss ")
    'return loss'
    """
    return _SPACES.sub(" ", text).strip().casefold()


class Translator:
    """Brings names as a tester writes them to ours, by the table of a mapping.

    The table goes before our own names, which are understood by themselves.
    """

    def __init__(self, names: Names) -> None:
        self._parameters = {folded(text): one for text, one in names.parameters.items()}
        self._ends: dict[str, End] = {folded(text): one for text, one in names.ends.items()}
        self._pairs = {folded(text): one for text, one in names.pairs.items()}
        self._quantities = {folded(text): one for text, one in names.quantities.items()}
        self._outcomes = {folded(text): one for text, one in names.outcomes.items()}
        self._separators = sorted(names.separators, key=len, reverse=True)
        self._turned = names.order == "disturbing-first"

    def shape(self, placeholder: str) -> str:
        """Return the regular expression of what may stand for a placeholder, the longest names first.

        Pairs are any text: how they are cut into two is not a matter of a heading.
        """
        own: dict[str, tuple[str, ...]] = {
            "parameter": tuple(name for names in understood_names().values() for name in names),
            "end": ("A", "B"),
            "quantity": ("value", "margin", "limit"),
        }
        if placeholder not in own:
            return ".+?"
        tables: dict[str, Iterable[str]] = {
            "parameter": self._parameters,
            "end": self._ends,
            "quantity": self._quantities,
        }
        texts = [re.escape(text).replace(r"\ ", r"\s+") for text in tables[placeholder]]
        texts += [r"[-_\s]*".join(map(re.escape, _PARTS.split(one))) for one in own[placeholder]]
        return "|".join(sorted(texts, key=len, reverse=True))

    def parameter(self, text: str) -> Parameter:
        """Return the parameter, or raise `WrongName`."""
        found = self._parameters.get(folded(text))
        found = found or parameter_called(text)
        if found is None:
            raise WrongName(f"no parameter is called {text.strip()!r}")
        return found

    def end(self, text: str) -> End | None:
        """Return the end, None for an empty text, or raise `WrongName`."""
        name = folded(text)
        if name in self._ends:
            return self._ends[name]
        if name in ("", "a", "b"):
            return None if not name else "A" if name == "a" else "B"
        raise WrongName(f"no end is called {text.strip()!r}")

    def pairs(self, text: str, second: str = "") -> tuple[str, ...]:
        """Return the pairs, receiving first, or raise `WrongName`; `second` is the cell of the other pair."""
        found = self._some(text)
        if second.strip():
            found = (*found, *self._some(second))
        return found[::-1] if self._turned and len(found) == 2 else found

    def quantity(self, text: str) -> str:
        """Return value, margin or limit, or raise `WrongName`."""
        name = folded(text)
        found = self._quantities.get(name) or (name if name in ("value", "margin", "limit") else None)
        if found is None:
            raise WrongName(f"no quantity is called {text.strip()!r}")
        return found

    def outcome(self, text: str) -> str:
        """Return pass or fail, empty for a text that is neither."""
        name = folded(text)
        return self._outcomes.get(name) or (name if name in ("pass", "fail") else "")

    def _some(self, text: str) -> tuple[str, ...]:
        """Return the pairs in one cell: by the table as it is, else cut at each separator."""
        name = folded(text)
        if name in self._pairs:
            return tuple(self._pairs[name].split("-"))
        if not name or name == "all":
            return FOUR_PAIRS if name else ()
        if name in FOUR_PAIRS:
            return (name,)
        if name in _CONTACTS:
            return (_CONTACTS[name],)
        for separator in self._separators:
            parts = name.split(separator.casefold())
            if len(parts) == 2 and all(self._known(part) for part in parts):
                return tuple(pair for part in parts for pair in self._some(part))
        raise WrongName(f"no pair is called {text.strip()!r}")

    def _known(self, part: str) -> bool:
        name = folded(part)
        return name in self._pairs or name in FOUR_PAIRS or name in _CONTACTS


_CONTACTS: Mapping[str, str] = {
    f"{pair[0]}{mark}{pair[1]}": pair for pair in FOUR_PAIRS for mark in ("-", ",", "/", " ")
}


def right_pairs(parameter: Parameter, end: End | None, pairs: tuple[str, ...]) -> tuple[str, ...]:
    """Return `pairs` as they are told, or raise `WrongName` where their number or the end is wrong."""
    told = "-".join(pairs) or "none"
    if end is None and parameter not in WITHOUT_END:
        raise WrongName(f"{parameter.term} needs an end")
    if len(set(pairs)) != len(pairs):
        raise WrongName(f"the pair is named twice: {told}")
    if parameter in _AVERAGES or (parameter is Parameter.SKEW and len(pairs) in (0, 4)):
        return FOUR_PAIRS
    wanted = 2 if parameter in COMBINATIONS and not (parameter is Parameter.SKEW and len(pairs) == 1) else 1
    if len(pairs) != wanted:
        needs = "two pairs, receiving and disturbing" if wanted == 2 else "one pair"
        raise WrongName(f"{parameter.term} needs {needs}; told: {told}")
    return pairs


def usual_key(
    parameter: Parameter, end: End | None, pairs: tuple[str, ...]
) -> tuple[Parameter, End | None, tuple[str, ...]]:
    """Return parameter, end and pairs as the bench tells them.

    One delay for both ends, one NEXT and one skew of a combination, its pairs in the order 12, 36, 45, 78.
    """
    ordered = tuple(sorted(pairs, key=FOUR_PAIRS.index)) if parameter in UNORDERED else pairs
    return parameter, None if parameter in WITHOUT_END else end, ordered
