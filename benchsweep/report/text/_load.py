"""Texts from files: shipped, on the search path, or a path; refused unless they say what English says."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchsweep.definitions import did_you_mean, find_definition, read_toml
from benchsweep.errors import DefinitionError
from benchsweep.report.text._entries import Entry, entries
from benchsweep.report.text._texts import Texts, english, parts

__all__ = ["load_texts"]

_HINT = (
    "A translation has the keys and fields of the English texts; `benchsweep info` says where those stand."
)
# Subtags of BCP 47 (RFC 5646, clause 2.1), without looking them up.
_TAG = r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*"
_LONGEST = 2000
_MOST_NAMED = 5
# Joiners that scripts need.
_JOINERS = "\u200c\u200d"


def load_texts(name: str | Path = "en") -> Texts:
    """Return the words of a language.

    Parameters
    ----------
    name
        Name of a file ``texts/<name>.toml`` in the working folder or the data folder, or a shipped one; or
        the path of a file.

    Raises
    ------
    UnknownName
        No such name or file.
    DefinitionError
        Keys are missing or unknown, or a text has other fields than in English; the message names file and
        key.
    """
    path = find_definition("texts", str(name))
    return texts_of(read_toml(path), str(path))


def texts_of(data: Mapping[str, Any], where: str) -> Texts:
    """Return the texts in what a TOML file holds; `where` names it in errors.

    Raises
    ------
    DefinitionError
    """
    rest = dict(data)
    schema = rest.pop("schema", None)
    if schema != 1 or isinstance(schema, bool):
        raise DefinitionError(f"{where}: schema: must be 1", hint=_HINT)
    language = rest.pop("language", None)
    if not isinstance(language, str) or not re.fullmatch(_TAG, language):
        raise DefinitionError(
            f"{where}: language: must be the BCP 47 tag of the language, such as de or pt-BR", hint=_HINT
        )
    told = english().entries
    found = dict(entries(rest))
    unknown = [key for key in found if key not in told]
    if unknown:
        raise DefinitionError(
            f"{where}: {unknown[0]}: unknown key{did_you_mean(unknown[0], told)}{_more(unknown)}", hint=_HINT
        )
    missing = [key for key in told if key not in found]
    if missing:
        first = missing[0]
        raise DefinitionError(
            f"{where}: {first}: this key is missing; in English: {_shown(told[first])}{_more(missing)}",
            hint=_HINT,
        )
    for key, value in found.items():
        mistake = _mistake(value, told[key])
        if mistake:
            raise DefinitionError(f"{where}: {key}: {mistake}", hint=_HINT)
    return Texts(language, found)


def _more(keys: list[str]) -> str:
    if len(keys) == 1:
        return ""
    named = ", ".join(keys[1:_MOST_NAMED])
    more = f" and {len(keys) - _MOST_NAMED} more" if len(keys) > _MOST_NAMED else ""
    return f" (likewise {named}{more})"


def _shown(entry: Entry) -> str:
    return repr(entry if isinstance(entry, str) else entry["other"])


def _mistake(value: object, told: Entry) -> str:
    """Return what is wrong with a text, beside how it is in English; empty when nothing."""
    wanted = _fields(told if isinstance(told, str) else told["other"])
    if isinstance(value, str):
        return _mistake_in(value, wanted, set())
    if not isinstance(value, Mapping) or set(value) != {"one", "other"}:
        return "must be a text, or a table of two texts, one and other"
    if "count" not in wanted and isinstance(told, str):
        return "one and other are chosen by {count}, which this text has not"
    for form, optional in (("one", {"count"}), ("other", set[str]())):
        text = value[form]
        if not isinstance(text, str):
            return f"{form} must be a text"
        mistake = _mistake_in(text, wanted, optional)
        if mistake:
            return f"{form}: {mistake}"
    return ""


def _mistake_in(text: str, wanted: set[str], optional: set[str]) -> str:
    if not text.strip():
        return "must not be empty"
    if len(text) > _LONGEST:
        return f"must have at most {_LONGEST} characters"
    if any(unicodedata.category(char)[0] == "C" and char not in _JOINERS for char in text):
        return "control, direction and private characters are not allowed"
    split = parts(text)
    if any("{" in words or "}" in words for words in split[::2]):
        named = ", ".join(f"{{{name}}}" for name in sorted(wanted)) or "none"
        return f"braces stand around the name of a field and nowhere else; fields here: {named}"
    found = set(split[1::2])
    for name in sorted(found - wanted):
        return f"{{{name}}} is no field of this text{did_you_mean(name, wanted)}"
    for name in sorted(wanted - found - optional):
        return f"the field {{{name}}} is missing"
    return ""


def _fields(text: str) -> set[str]:
    return set(parts(text)[1::2])
