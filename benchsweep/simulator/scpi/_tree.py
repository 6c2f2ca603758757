"""The header tree: commands declared as data, and how a header finds its command.

A pattern is written as manuals write it: ``[SENSe{channel}]:FREQuency:STARt``. Capitals are the short form,
brackets an optional node, braces the name of a numeric suffix. A header matches in exactly the long or
exactly the short form, in any case; a suffix that is not sent is 1 (SCPI-1999 volume 1,
chapter 6, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from benchsweep.simulator.scpi._grammar import Header, Node
from benchsweep.simulator.scpi._messages import ScpiFault
from benchsweep.simulator.scpi._values import Kind

__all__ = ["Answer", "Call", "Command", "Handler", "Tree"]

Device = TypeVar("Device")
Answer = str | bytes | int | float | None
"""What a handler returns: text, a whole data block, a number (the family spells it), or nothing."""

_PATTERN_NODE = re.compile(r"(\[)?:?([A-Z]+)([a-z]*)(?:\{([a-z]+)\})?(\])?:?")


@dataclass(frozen=True, slots=True)
class Call(Generic[Device]):
    """One command on its way to its handler.

    Parameters
    ----------
    device
        The instrument.
    suffixes
        Numeric suffixes by the names of the pattern, already checked.
    arguments
        Parameters decoded by the kinds that the command declares; optional ones may be missing.
    session
        Whoever sent it; only compared by identity.
    """

    device: Device
    suffixes: Mapping[str, int]
    arguments: tuple[Any, ...]
    session: object


Handler = Callable[[Call[Device]], "Answer | Awaitable[Answer]"]


@dataclass(frozen=True, slots=True)
class Command(Generic[Device]):
    """A header and what it does as a command and as a query (None: it has no such form).

    Parameters
    ----------
    pattern
        The header, as described at the head of the module; ``*XXX`` for a common command.
    write, query
        The handlers.
    takes, asks
        Kinds of the parameters of the command and of the query.
    optional, optional_asks
        How many of the last parameters of the command and of the query may be left out.
    """

    pattern: str
    write: Handler[Device] | None = None
    query: Handler[Device] | None = None
    takes: tuple[Kind[Device], ...] = ()
    asks: tuple[Kind[Device], ...] = ()
    optional: int = 0
    optional_asks: int = 0


@dataclass(frozen=True, slots=True)
class _PatternNode:
    short: str
    long: str
    suffix: str | None
    optional: bool


def _parse_pattern(pattern: str) -> tuple[_PatternNode, ...]:
    nodes = []
    position = 0
    for found in _PATTERN_NODE.finditer(pattern):
        if found.start() != position:
            break
        position = found.end()
        optional = found[1] is not None
        if optional != (found[5] is not None):
            raise ValueError(f"brackets of {pattern!r}")
        nodes.append(_PatternNode(found[2], found[2] + found[3].upper(), found[4], optional))
    if position != len(pattern) or "::" in pattern or pattern.endswith(":"):
        raise ValueError(f"header pattern {pattern!r}")
    return tuple(nodes)


def _match(pattern: tuple[_PatternNode, ...], typed: tuple[Node, ...]) -> dict[str, int] | None:
    """Return the suffixes by name when `typed` is the header `pattern`, else None."""
    if not pattern:
        return None if typed else {}
    head, rest = pattern[0], pattern[1:]
    if typed and typed[0].mnemonic in (head.short, head.long):
        allowed = typed[0].suffix is None or head.suffix is not None
        found = _match(rest, typed[1:]) if allowed else None
        if found is not None:
            if head.suffix is not None:
                found[head.suffix] = 1 if typed[0].suffix is None else typed[0].suffix
            return found
    if head.optional:
        found = _match(rest, typed)
        if found is not None and head.suffix is not None:
            found[head.suffix] = 1
        return found
    return None


class Tree(Generic[Device]):
    """All commands of an instrument.

    Parameters
    ----------
    tables
        Tables of commands; the first that matches a header has it.
    largest
        Largest value of each numeric suffix that the patterns name; the smallest is 1.

    Raises
    ------
    ValueError
        A pattern is not written as it should be, or names a suffix without a range.
    """

    _MOST_REMEMBERED = 4096

    def __init__(self, tables: Iterable[Iterable[Command[Device]]], largest: Mapping[str, int]) -> None:
        self._common: dict[str, Command[Device]] = {}
        self._commands: list[tuple[tuple[_PatternNode, ...], Command[Device]]] = []
        self._largest = dict(largest)
        self._found: dict[tuple[Node, ...], tuple[Command[Device], dict[str, int]]] = {}
        for table in tables:
            for command in table:
                self._add(command)

    def _add(self, command: Command[Device]) -> None:
        if command.pattern.startswith("*"):
            self._common.setdefault(command.pattern[1:], command)
            return
        nodes = _parse_pattern(command.pattern)
        unknown = {node.suffix for node in nodes if node.suffix} - set(self._largest)
        if unknown:
            raise ValueError(f"{command.pattern}: no range for suffix {unknown}")
        self._commands.append((nodes, command))

    def find(
        self, header: Header, path: tuple[Node, ...]
    ) -> tuple[Command[Device], Mapping[str, int], tuple[Node, ...]]:
        """Return the command, its suffixes and the path for the next unit of the message.

        Raises
        ------
        ScpiFault
            -113 when there is no such header, -114 when a suffix is out of range.
        """
        if header.common:
            command = self._common.get(header.nodes[0].mnemonic)
            if command is None:
                raise ScpiFault(-113, _spelled(header.nodes, "*"))
            return command, {}, path
        typed = header.nodes if header.rooted else path + header.nodes
        if typed not in self._found:
            if len(self._found) >= self._MOST_REMEMBERED:
                self._found.clear()
            self._found[typed] = self._search(typed)
        command, suffixes = self._found[typed]
        for name, value in suffixes.items():
            if not 1 <= value <= self._largest[name]:
                raise ScpiFault(-114, f"{name} {value}, there are 1 to {self._largest[name]}")
        return command, suffixes, typed[:-1]

    def _search(self, typed: tuple[Node, ...]) -> tuple[Command[Device], dict[str, int]]:
        for pattern, command in self._commands:
            suffixes = _match(pattern, typed)
            if suffixes is not None:
                return command, suffixes
        raise ScpiFault(-113, _spelled(typed))


def _spelled(nodes: tuple[Node, ...], root: str = "") -> str:
    words = (node.mnemonic + ("" if node.suffix is None else str(node.suffix)) for node in nodes)
    return (root + ":".join(words))[:60]
