"""Program messages: from a line of text to headers and parameters (IEEE 488.2 chapter 7, from memory).

Nothing here knows a command. A message is cut into units at ``;``; a unit is a header and parameters.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from benchsweep.simulator.scpi._messages import ScpiFault

__all__ = ["Form", "Header", "Node", "Parameter", "Unit", "split_units"]

# White space of IEEE 488.2: every code from 0 to 32 but the line feed, which ends the message.
_BLANKS = "".join(map(chr, (*range(10), *range(11, 33))))
_NODE = re.compile(r"([A-Z][A-Z_]*)(\d*)")
_COMMON = re.compile(r"\*([A-Z]+)")
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+))(?:[ \t]*E[ \t]*([+-]?\d+))?[ \t]*([A-Z/][A-Z0-9/.]*)?")
_WORD = re.compile(r"[A-Z][A-Z0-9_/]*")
_RADIX = {"H": 16, "Q": 8, "B": 2}
_LONGEST_MNEMONIC = 12
_LARGEST_EXPONENT = 32_000
_MOST_DIGITS = 255


class Form(Enum):
    """The forms of a parameter that a receiver can tell apart."""

    NUMBER = "number"
    WORD = "character data"
    STRING = "string"
    BLOCK = "block"
    EXPRESSION = "expression"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter as sent.

    Parameters
    ----------
    form
        Its form.
    text
        Character data and suffix in upper case; a string without its quotes.
    number, suffix
        Value and unit (upper case, may be empty) of a number.
    """

    form: Form
    text: str
    number: float = 0.0
    suffix: str = ""


@dataclass(frozen=True, slots=True)
class Node:
    """One mnemonic of a header in upper case, and its numeric suffix as sent (None: none)."""

    mnemonic: str
    suffix: int | None


@dataclass(frozen=True, slots=True)
class Header:
    """A header: ``*OPC?`` is common; ``:FREQ:STAR`` begins at the root; ``STAR`` continues the path."""

    nodes: tuple[Node, ...]
    common: bool
    rooted: bool
    query: bool


@dataclass(frozen=True, slots=True)
class Unit:
    """One program message unit."""

    header: Header
    parameters: tuple[Parameter, ...]


def split_units(message: str) -> Iterator[Unit]:
    """Yield the units of `message` one after the other, so that those before a bad one are carried out.

    Raises
    ------
    ScpiFault
        A command error (-1xx), when the bad unit is reached.
    """
    for text in _split(message, ";"):
        bare = text.strip(_BLANKS)
        if bare:
            yield _parse_unit(bare)


def _split(text: str, separator: str) -> Iterator[str]:
    """Cut at `separator` outside strings, blocks and parentheses."""
    begin = position = 0
    while position < len(text):
        character = text[position]
        if character in "'\"":
            position = _end_of_string(text, position)
        elif character == "#":
            position = _end_of_block(text, position)
        elif character == "(":
            position = _end_of_expression(text, position)
        elif character == separator:
            yield text[begin:position]
            begin = position = position + 1
        else:
            position += 1
    yield text[begin:]


def _end_of_string(text: str, start: int) -> int:
    """Return the place behind the string that begins at `start`. A doubled quote is a quote inside it."""
    quote = text[start]
    position = start + 1
    while True:
        position = text.find(quote, position)
        if position < 0:
            raise ScpiFault(-151, "no closing quote")
        if text[position + 1 : position + 2] != quote:
            return position + 1
        position += 2


def _end_of_block(text: str, start: int) -> int:
    """Return the place behind ``#<digits><length><data>``; other uses of ``#`` are one character long."""
    count = text[start + 1 : start + 2]
    if not count.isascii() or not count.isdigit():
        return start + 1
    if count == "0":
        return len(text)
    length = text[start + 2 : start + 2 + int(count)]
    if len(length) != int(count) or not length.isascii() or not length.isdigit():
        raise ScpiFault(-161, "length of the block")
    end = start + 2 + int(count) + int(length)
    if end > len(text):
        raise ScpiFault(-161, "block shorter than its length says")
    return end


def _end_of_expression(text: str, start: int) -> int:
    depth = 0
    for position in range(start, len(text)):
        depth += {"(": 1, ")": -1}.get(text[position], 0)
        if depth == 0:
            return position + 1
    raise ScpiFault(-171, "no closing parenthesis")


def _parse_unit(text: str) -> Unit:
    cut = next((i for i, character in enumerate(text) if character in _BLANKS), len(text))
    header = _parse_header(text[:cut])
    rest = text[cut:].strip(_BLANKS)
    if not rest:
        return Unit(header, ())
    return Unit(header, tuple(_parse_parameter(part.strip(_BLANKS)) for part in _split(rest, ",")))


def _parse_header(text: str) -> Header:
    upper = text.upper()
    query = upper.endswith("?")
    body = upper[:-1] if query else upper
    if body.startswith("*"):
        common = _COMMON.fullmatch(body)
        if common is None:
            raise ScpiFault(_header_fault(body[1:]), _quoted(text))
        return Header((Node(common[1], None),), common=True, rooted=False, query=query)
    rooted = body.startswith(":")
    nodes = tuple(_parse_node(word, text) for word in body.removeprefix(":").split(":"))
    return Header(nodes, common=False, rooted=rooted, query=query)


def _parse_node(word: str, header: str) -> Node:
    found = _NODE.fullmatch(word)
    if found is None:
        raise ScpiFault(_header_fault(word), _quoted(header))
    if len(found[1]) > _LONGEST_MNEMONIC:
        raise ScpiFault(-112, _quoted(header))
    if len(found[2]) > _LONGEST_MNEMONIC:
        raise ScpiFault(-114, _quoted(header))
    return Node(found[1], int(found[2]) if found[2] else None)


def _header_fault(word: str) -> int:
    """Return the error for a mnemonic that is none: a strange character, or a comma, or a wrong order."""
    if "," in word:
        return -103
    strange = any(not (c.isascii() and (c.isalnum() or c in "_:*?")) for c in word)
    return -101 if strange else -102


def _quoted(text: str) -> str:
    """Return the start of `text` fit for an error message: printable, no double quotes."""
    return "".join(c if c.isprintable() and c.isascii() and c != '"' else "." for c in text[:40])


def _parse_parameter(text: str) -> Parameter:
    if not text:
        raise ScpiFault(-109, "empty parameter")
    first = text[0]
    if first in "'\"":
        if _end_of_string(text, 0) != len(text):
            raise ScpiFault(-103, _quoted(text))
        return Parameter(Form.STRING, text[1:-1].replace(first * 2, first))
    if first == "#":
        return _parse_hash(text)
    if first == "(":
        if _end_of_expression(text, 0) != len(text):
            raise ScpiFault(-103, _quoted(text))
        return Parameter(Form.EXPRESSION, text)
    if first in "+-.0123456789":
        return _parse_number(text)
    return _parse_word(text)


def _parse_word(text: str) -> Parameter:
    word = text.upper()
    if _WORD.fullmatch(word) is None:
        if any(c in _BLANKS for c in word):
            raise ScpiFault(-103, _quoted(text))
        raise ScpiFault(-141 if word.isascii() and word[0].isalpha() else -101, _quoted(text))
    if len(word) > _LONGEST_MNEMONIC:
        raise ScpiFault(-144, _quoted(text))
    return Parameter(Form.WORD, word)


def _parse_number(text: str) -> Parameter:
    found = _NUMBER.fullmatch(text.upper())
    if found is None:
        raise ScpiFault(-121, _quoted(text))
    mantissa, exponent, suffix = found[1], found[2] or "0", found[3] or ""
    if len(mantissa) > _MOST_DIGITS:
        raise ScpiFault(-124)
    if len(exponent) > _LONGEST_MNEMONIC or abs(int(exponent)) > _LARGEST_EXPONENT:
        raise ScpiFault(-123, _quoted(text))
    return Parameter(Form.NUMBER, text, float(f"{mantissa}e{exponent}"), suffix)


def _parse_hash(text: str) -> Parameter:
    """Read ``#H1F``, ``#Q17``, ``#B101`` or a block."""
    radix = _RADIX.get(text[1:2].upper())
    if radix is not None:
        digits = text[2:]
        allowed = "0123456789ABCDEF"[:radix]
        if not digits or len(digits) > _MOST_DIGITS or any(c not in allowed for c in digits.upper()):
            raise ScpiFault(-121, _quoted(text))
        return Parameter(Form.NUMBER, text, float(int(digits, radix)))
    if not text[1:2].isascii() or not text[1:2].isdigit() or _end_of_block(text, 0) != len(text):
        raise ScpiFault(-161, _quoted(text))
    return Parameter(Form.BLOCK, text)
