"""Small things that many parts of a report are put together from."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, TypeAlias

from benchsweep.report.document import Facts, Given, Line

__all__ = [
    "COMPUTING_DB",
    "Fact",
    "cells",
    "embedded_away",
    "fact",
    "facts",
    "given",
    "name_in",
    "short_digest",
    "table_in",
    "time_between_h",
    "without_comments",
]

COMPUTING_DB = -200.0
"""Levels below this are the rounding of numbers of 53 bits (2^-53 is -319 dB), not something measured."""

_DIGITS, _GROUP = 12, 4

Fact: TypeAlias = tuple[Line, tuple[Line, ...]]


def given(text: str) -> Line:
    """Return what others gave as a line; without any text an empty one."""
    return (Given(text),) if text else ()


def cells(*texts: str | Line) -> tuple[Line, ...]:
    """Return the cells of a row; a plain text is one of our own."""
    return tuple(text if isinstance(text, tuple) else ((text,) if text else ()) for text in texts)


def fact(name: str | Line, *lines: Line | str) -> Fact:
    """Return a name and the lines that tell what it is; empty lines are left out."""
    return cells(name)[0], tuple(told for told in cells(*lines) if told)


def facts(entries: Iterable[Fact]) -> Facts:
    """Return the facts about which there is something to say."""
    return Facts(tuple(entry for entry in entries if entry[1]))


def short_digest(told: object) -> str:
    """Return twelve hexadecimal digits in groups of four, the first of a SHA-256 over plain data."""
    written = json.dumps(told, ensure_ascii=True, separators=(",", ":"), default=str)
    digits = hashlib.sha256(written.encode()).hexdigest()[:_DIGITS].upper()
    return "-".join(digits[at : at + _GROUP] for at in range(0, _DIGITS, _GROUP))


def table_in(toml: str) -> Mapping[str, Any]:
    """Return what a definition holds; nothing where it is no TOML."""
    try:
        return tomllib.loads(toml)
    except tomllib.TOMLDecodeError:
        return {}


def name_in(toml: str) -> str:
    """Return the name that a definition gives itself; empty when it has none."""
    name = table_in(toml).get("name")
    return name if isinstance(name, str) else ""


def embedded_away(toml: str) -> tuple[list[str], list[tuple[str, int]]]:
    """Return the lines of a definition, and name and number of lines of each measured file kept with it.

    Such files stand at the end, in the table ``[embedded]``, and have thousands of lines; they are left out.
    """
    files = table_in(toml).get("embedded", {})
    lines = toml.splitlines()
    if not isinstance(files, dict) or not files or "[embedded]" not in lines:
        return lines, []
    kept = [(name, len(str(text).splitlines())) for name, text in files.items()]
    return lines[: lines.index("[embedded]")], kept


def without_comments(lines: Sequence[str]) -> list[str]:
    """Return the lines of a definition without those that are empty or a comment alone.

    Lines within a text of several lines stay, whatever they look like: there ``#`` is part of the text
    (TOML 1.0.0, "Comment"; from memory). What is no TOML stays as it is.

    >>> without_comments(["# a bench", "", "gain = 3  # dB", "note = '''", "# kept", "'''"])
    ['gain = 3  # dB', "note = '''", '# kept', "'''"]
    """
    kept: list[str] = []
    begun: list[str] = []  # the lines of an entry that is not complete yet
    for one in lines:
        if not begun and (not one.strip() or one.lstrip().startswith("#")):
            continue
        begun.append(one)
        if _complete(begun):
            kept += begun
            begun = []
    return list(lines) if begun else kept


def _complete(lines: Sequence[str]) -> bool:
    try:
        tomllib.loads("\n".join(lines))
    except tomllib.TOMLDecodeError:
        return False
    return True


def time_between_h(earlier: str, later: str) -> float | None:
    """Return the hours between two ISO 8601 times; None where they cannot be compared."""
    try:
        seconds = (datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds()
    except (ValueError, TypeError):  # no times, or only one of them with its zone
        return None
    return seconds / 3600.0
