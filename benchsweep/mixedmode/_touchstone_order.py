"""``[Mixed-Mode Order]``: which mode of which ports each row of a matrix is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep.mixedmode._touchstone_layout import unreadable

__all__ = ["Descriptor", "parse_order", "transform_of"]

_WORD = re.compile(r"(?:[DC]([1-9][0-9]{0,3}),([1-9][0-9]{0,3})|S([1-9][0-9]{0,3}))", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Descriptor:
    """One row of a mixed-mode matrix: ``D2,1``, ``C2,1`` or ``S3``.

    Parameters
    ----------
    mode
        ``D`` differential, ``C`` common, ``S`` a single-ended port.
    ports
        Numbers of the ports from 1, the positive one first.
    """

    mode: str
    ports: tuple[int, ...]

    def __str__(self) -> str:
        return self.mode + ",".join(map(str, self.ports))

    @property
    def indices(self) -> tuple[int, ...]:
        """The ports counted from 0."""
        return tuple(port - 1 for port in self.ports)


def parse_order(path: Path, arguments: str, n_ports: int) -> tuple[Descriptor, ...]:
    """Read the arguments of the keyword; they must describe all ports, such that legs can be found again.

    Raises
    ------
    DataFileError
        Another count than that of the ports, a word that describes no mode, a port that there is not, a mode
        that comes twice, a port in several pairs, a pair of which one mode is missing.
    """
    words = re.sub(r"\s*,\s*", ",", arguments).split()
    if len(words) != n_ports:
        raise unreadable(path, f"[Mixed-Mode Order] has {len(words)} modes for {n_ports} ports")
    order = tuple(_descriptor(path, word, n_ports) for word in words)
    modes_of: dict[frozenset[int], list[str]] = {}
    for descriptor in order:
        modes_of.setdefault(frozenset(descriptor.ports), []).append(descriptor.mode)
    used = [port for ports in modes_of for port in ports]
    for port in used:
        if used.count(port) > 1:
            raise unreadable(path, f"[Mixed-Mode Order] has port {port} in more than one pair")
    for descriptor in order:
        found = sorted(modes_of[frozenset(descriptor.ports)])
        if found not in (["C", "D"], ["S"]):
            raise unreadable(
                path,
                f"[Mixed-Mode Order] has {', '.join(found)} of the ports of {descriptor}: only differential"
                " and common mode, once each, become the two legs of a pair",
                "Export the file again with both modes of every pair.",
            )
    return order


def _descriptor(path: Path, word: str, n_ports: int) -> Descriptor:
    match = _WORD.fullmatch(word)
    if match is None:
        raise unreadable(path, f"[Mixed-Mode Order]: {word[:20]!r} is no mode such as D1,2 or C1,2 or S3")
    ports = tuple(int(number) for number in match.groups() if number)
    if max(ports) > n_ports or len(set(ports)) != len(ports):
        raise unreadable(path, f"[Mixed-Mode Order]: {word} of {n_ports} ports does not exist")
    return Descriptor(word[0].upper(), ports)


def transform_of(order: Sequence[Descriptor]) -> NDArray[np.float64]:
    """Return ``(n, n)``, waves of modes from waves of ports; orthogonal (Bockelman and Eisenstadt, 1995)."""
    transform = np.zeros((len(order), len(order)))
    for row, descriptor in enumerate(order):
        if descriptor.mode == "S":
            transform[row, descriptor.indices] = 1.0
        else:
            sign = -1.0 if descriptor.mode == "D" else 1.0
            transform[row, descriptor.indices] = np.array([1.0, sign]) / np.sqrt(2.0)
    return transform
