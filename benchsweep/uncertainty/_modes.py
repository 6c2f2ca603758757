"""How the modes of a specimen are made of the ports of its matrix, and how two of its ports are related."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import BalancedPort, Mode, ModePort, balanced_ports_among, parse_leg, parse_mode

__all__ = ["FAR", "NEAR", "OWN", "THROUGH", "ModeTable", "mode_table", "port_relations", "relation"]

Real = NDArray[np.float64]
Index = NDArray[np.intp]

OWN, THROUGH, NEAR, FAR = 0, 1, 2, 3
"""An entry leads back to its own balanced port, along its pair to the other end, or from another pair, at the
same or from the other end."""

_ROOT_HALF = 0.5**0.5


@dataclass(frozen=True, slots=True, eq=False)
class ModeTable:
    """How the modes of the specimen are made of the ports of its matrix.

    A mode is ``(x_first + sign x_second) / sqrt(2)`` of two legs; in a matrix of modes it is one port, and
    both places name that port with parts 1 and 0.

    Parameters
    ----------
    index
        Label of a mode (``A:12/d``) -> its row here.
    places
        ``(2, n_mode)`` ports.
    parts
        ``(2, n_mode)`` real.
    vectors
        ``(n_mode, n_port)``: the same, dense.
    of_modes
        True: the matrix is one of modes, measured behind baluns.
    """

    index: dict[str, int]
    places: Index
    parts: Real
    vectors: Real
    of_modes: bool


@lru_cache(maxsize=16)
def mode_table(ports: tuple[str, ...]) -> ModeTable:
    """Return the modes that a matrix with these ports holds."""
    of_modes = any("/" in label for label in ports)
    index: dict[str, int] = {}
    places, parts = [], []
    for port in balanced_ports_among(ports):
        modes: tuple[Mode, Mode] = ("d", "c")
        for mode in modes:
            label = str(ModePort(port, mode))
            legs = [str(leg) for leg in port.legs]
            if of_modes and label in ports:
                place = ports.index(label)
                places.append((place, place))
                parts.append((1.0, 0.0))
            elif not of_modes and all(leg in ports for leg in legs):
                places.append((ports.index(legs[0]), ports.index(legs[1])))
                parts.append((_ROOT_HALF, -_ROOT_HALF if mode == "d" else _ROOT_HALF))
            else:
                continue
            index[label] = len(index)
    vectors = np.zeros((len(index), len(ports)))
    for row, (both, part) in enumerate(zip(places, parts, strict=True)):
        for at, value in zip(both, part, strict=True):
            vectors[row, at] += value
    return ModeTable(
        index,
        np.array(places, dtype=np.intp).reshape(-1, 2).T,
        np.array(parts, dtype=np.float64).reshape(-1, 2).T,
        vectors,
        of_modes,
    )


def relation(out: BalancedPort, into: BalancedPort) -> int:
    """Return `OWN` … of a wave from one balanced port to another; two cables have no pair in common."""
    if (out.cable, out.pair) == (into.cable, into.pair):
        return OWN if out.end == into.end else THROUGH
    return NEAR if out.end == into.end else FAR


@lru_cache(maxsize=16)
def port_relations(ports: tuple[str, ...]) -> Index:
    """Return ``(n, n)``: `OWN` … by the balanced ports of two ports of a matrix, legs or modes."""
    owners = [parse_mode(label).port if "/" in label else parse_leg(label).port for label in ports]
    return np.array([[relation(one, other) for other in owners] for one in owners], dtype=np.intp)
