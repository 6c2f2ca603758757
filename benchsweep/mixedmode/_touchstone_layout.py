"""The text of a mixed-mode Touchstone file taken apart: keywords, option line, rows of numbers.

Source: Touchstone File Format Specification, versions 2.0 (2009) and 2.1 (2024), IBIS Open Forum. The text of
neither was at hand: every rule here is from memory, except where another witness is named beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchsweep.errors import DataFileError

__all__ = ["Layout", "Options", "is_mixed_mode", "read_layout", "unreadable"]

_KEYWORD = re.compile(r"\[([^\]]*)\](.*)")
_ORDER_LINE = re.compile(r"^[ \t]*\[[ \t]*mixed-mode order[ \t]*\]", re.IGNORECASE | re.MULTILINE)
_HINT = "Export the file again, or as single-ended S-parameters."
# From memory: these and no other keywords, each at most once, in any case.
_WITH_ARGUMENTS = (
    "version",
    "number of ports",
    "two-port data order",
    "number of frequencies",
    "number of noise frequencies",
    "reference",
    "matrix format",
    "mixed-mode order",
)
# From memory: the arguments of these may go on in the lines that follow.
_MAY_GO_ON = ("reference", "mixed-mode order")
_PARAMETERS = ("s", "y", "z", "g", "h")
_UNITS: Mapping[str, float] = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}


@dataclass(frozen=True, slots=True)
class Options:
    """The option line; a word left out means that of ``# GHz S MA R 50``, any order will do (from memory)."""

    unit_hz: float
    number_format: str
    reference_ohm: float


@dataclass(frozen=True, slots=True)
class Layout:
    """A file taken apart.

    Parameters
    ----------
    keywords
        Keyword in lower case -> its arguments as one text, of those that have any.
    options
        The option line.
    rows
        The lines of numbers between ``[Network Data]`` and the keyword that ends them, without comments.
    """

    keywords: Mapping[str, str]
    options: Options
    rows: tuple[str, ...]


def unreadable(path: Path, why: str, hint: str = _HINT) -> DataFileError:
    """Return the error that names the file."""
    return DataFileError(f"{path}: {' '.join(why.split())}", hint=hint)


def is_mixed_mode(text: str) -> bool:
    """Tell whether the text of a Touchstone file has the keyword ``[Mixed-Mode Order]``."""
    return _ORDER_LINE.search(text) is not None


def read_layout(path: Path, text: str) -> Layout:
    """Take a text of version 2.0 or 2.1 apart, lines ended by line feeds; refuse what is not understood.

    Raises
    ------
    DataFileError
        The version is not first or another one, a keyword that there is none of or that comes twice, a
        missing option line, information block or end.
    """
    keywords: dict[str, str] = {}
    options: list[str] = []
    rows: list[str] = []
    last = ""
    for line in _lines_outside_information(path, text):
        match = _KEYWORD.fullmatch(line)
        if not keywords and (match is None or match[1].strip().lower() != "version"):
            raise unreadable(path, "does not begin with [Version]: mixed-mode files are of version 2")
        if last == "end":
            raise unreadable(path, f"goes on after [End]: {line[:40]!r}")
        if match is not None:
            last = _take_keyword(path, keywords, match[1], match[2])
        elif line.startswith("#"):
            options.append(line[1:])
        elif last == "network data":
            rows.append(line)
        elif last in _MAY_GO_ON:
            keywords[last] += f" {line}"
        elif last != "noise data":
            raise unreadable(path, f"has numbers or words outside of any keyword: {line[:40]!r}")
    _check_whole(path, keywords, options)
    return Layout(keywords, _read_options(path, options[0]), tuple(rows))


def _lines_outside_information(path: Path, text: str) -> Iterator[str]:
    """Yield lines without comments, blank ones, and what stands in an information block."""
    within = False
    for raw in text.split("\n"):
        line = raw.partition("!")[0].strip()
        word = line.lower()
        if word in ("[begin information]", "[end information]"):
            if (word == "[begin information]") == within:
                raise unreadable(path, f"{line} stands in the wrong place")
            within = not within
        elif line and not within:
            yield line
    if within:
        raise unreadable(path, "[End Information] is missing")


def _take_keyword(path: Path, keywords: dict[str, str], name: str, arguments: str) -> str:
    keyword, arguments = name.strip().lower(), arguments.strip()
    bare = keyword in ("network data", "noise data", "end")
    if not bare and keyword not in _WITH_ARGUMENTS:
        raise unreadable(path, f"has the unknown keyword [{name[:40]}]")
    if keyword in keywords:
        raise unreadable(path, f"has the keyword [{name}] twice")
    if bare and arguments:
        raise unreadable(path, f"has words after [{name}]: {arguments[:40]!r}")
    keywords[keyword] = arguments
    return keyword


def _check_whole(path: Path, keywords: Mapping[str, str], options: list[str]) -> None:
    if keywords.get("version") not in ("2.0", "2.1"):
        found = keywords.get("version", "none")
        raise unreadable(path, f"is of version {found[:20]!r}; mixed-mode files are of version 2.0 or 2.1")
    for needed in ("number of ports", "number of frequencies", "mixed-mode order", "network data"):
        if needed not in keywords:
            raise unreadable(path, f"has no keyword [{needed.title()}]")
    if "end" not in keywords:
        raise unreadable(path, "has no [End]: it is cut off")
    if len(options) != 1:
        raise unreadable(path, f"has {len(options)} option lines (such as # Hz S RI R 50)")


def _read_options(path: Path, line: str) -> Options:
    unit_hz, number_format, reference_ohm = 1e9, "ma", 50.0
    words = line.lower().split()
    while words:
        word = words.pop(0)
        if word in _UNITS:
            unit_hz = _UNITS[word]
        elif word in ("ri", "ma", "db"):
            number_format = word
        elif word == "r" and words:
            reference_ohm = read_number(path, words.pop(0), "reference resistance")
        elif word in _PARAMETERS[1:]:
            raise unreadable(path, f"holds {word.upper()}-parameters, not S-parameters")
        elif word != "s":
            raise unreadable(path, f"unknown word {word[:20]!r} in its option line")
    return Options(unit_hz, number_format, reference_ohm)


def read_number(path: Path, word: str, what: str) -> float:
    """Return the finite number that `word` is; Python's own spellings (``1_0``, ``inf``) are none."""
    try:
        value = float(word) if re.fullmatch(r"[-+.0-9eE]+", word) else np.nan
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise unreadable(path, f"{what}: {word[:20]!r} is no finite number")
    return value
