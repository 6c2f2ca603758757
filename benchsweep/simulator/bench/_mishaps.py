"""What goes wrong by hand: a loose connector, exchanged standards, a worn terminator, a wrong cable.

Nobody notices at once: what is asked to be connected still reads as if it were.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._connections import (
    BALANCED_PORTS,
    Attached,
    cable_of,
    legs_of,
    parse_target,
)

__all__ = ["MISHAPS", "LooseContact", "Mishaps"]

MISHAPS: Mapping[str, str] = MappingProxyType(
    {
        "loose-connector": (
            "From this connection on the connector of the lowest port in use is not tight: some 2 ohm and "
            "1 nH in series, others in every sweep. Arming none tightens it."
        ),
        "swapped-standards": (
            "The open and the short of the lowest port that has one of them are taken for each other, each "
            "once; what follows is right again."
        ),
        "worn-termination": (
            "From this connection on the lowest balanced port of the specimen that was left free sits on the "
            "last terminator of the bench file, whatever was asked for. Arming none replaces it."
        ),
        "wrong-cable": (
            "With this connection another cable of a bundle is taken for the disturbing one that was asked "
            "for: the next, or the first after the last. The next connection is right again."
        ),
    }
)
"""Name -> what a person would see."""

_OHM, _HENRY = 2.0, 1e-9
# Plausible, not published: a loose contact lies between half and one and a half of these, anew each sweep.
_LEAST, _MOST = 0.5, 1.5
_EXCHANGED: Mapping[str, str] = {"open": "short", "short": "open"}


@dataclass(frozen=True, slots=True)
class LooseContact:
    """A contact in series with one port during one sweep.

    Parameters
    ----------
    port
        Number of the port.
    resistance_ohm, inductance_h
        In series.
    """

    port: int
    resistance_ohm: float
    inductance_h: float

    def impedance_ohm(self, frequency_hz: NDArray[np.float64], ports: int) -> NDArray[np.complex128]:
        """Return the series impedance at every port, ``(n_freq, ports)``; zero where nothing is loose."""
        out = np.zeros((frequency_hz.size, ports), dtype=np.complex128)
        out[:, self.port - 1] = self.resistance_ohm + 2j * np.pi * frequency_hz * self.inductance_h
        return out


class Mishaps:
    """The mishaps that are in force.

    Parameters
    ----------
    seed
        Draws what a loose contact does.
    place
        Port -> number of what a standard is put on: ports of one balun share it.
    worn
        Name of the worn terminator; empty: there is none.
    """

    def __init__(self, seed: int, place: Callable[[int], int] = int, worn: str = "") -> None:
        self._seed = seed
        self._place = place
        self._loose: int | None = None
        self._swapped: int | None = None
        self._mistaken: list[str] = []
        self._worn = worn
        self._worn_at: str | None = None
        self._taken_for: dict[int, int] = {}

    def repair(self) -> None:
        """Tighten every connector and put the standards back in their places."""
        self._loose = self._swapped = self._worn_at = None
        self._taken_for = {}

    def possible(self, connections: Mapping[int, Attached], disturbing: int = 0) -> tuple[str, ...]:
        """Return the mishaps for which these connections are an occasion.

        Parameters
        ----------
        disturbing
            How many disturbing cables the specimen has.
        """
        found = ["loose-connector"] if connections else []
        if any(attached.text in _EXCHANGED for attached in connections.values()):
            found.append("swapped-standards")
        if self._worn and _free(connections):
            found.append("worn-termination")
        if disturbing > 1 and _disturbing(connections):
            found.append("wrong-cable")
        return tuple(found)

    def strike(self, name: str, connections: Mapping[int, Attached], disturbing: int = 0) -> None:
        """Let one of `possible` happen while these connections are made."""
        if name == "loose-connector":
            self._loose = min(connections)
        elif name == "worn-termination":
            self._worn_at = _free(connections)[0]
        elif name == "wrong-cable":
            self._taken_for = {number: number % disturbing + 1 for number in _disturbing(connections)}
        else:
            self._swapped = min(port for port, one in connections.items() if one.text in _EXCHANGED)
            self._mistaken = [connections[self._swapped].text]

    def connected(self, connections: Mapping[int, Attached]) -> None:
        """Take note of the next connections."""
        self._taken_for = {}
        attached = connections.get(self._swapped) if self._swapped is not None else None
        word = attached.text if attached is not None else ""
        if len(self._mistaken) == len(_EXCHANGED) and word != self._mistaken[-1]:
            self._swapped = None
        elif word in _EXCHANGED and word not in self._mistaken:
            self._mistaken.append(word)

    def really(self, connections: Mapping[int, Attached]) -> dict[int, Attached]:
        """Return what is attached indeed where `connections` is what was asked for."""
        found = dict(connections)
        if self._swapped is not None:
            for port, attached in connections.items():
                if attached.text in _EXCHANGED and self._place(port) == self._place(self._swapped):
                    found[port] = parse_target(_EXCHANGED[attached.text])
        for port, attached in connections.items():
            asked, dot, place = attached.text.partition(".")
            if dot and asked.isdigit() and int(asked) in self._taken_for:
                found[port] = parse_target(f"{self._taken_for[int(asked)]}.{place}")
        return found

    def really_on(self, terminators: Mapping[str, str]) -> dict[str, str]:
        """Return which balanced port sits on which terminator indeed."""
        return dict(terminators) | ({} if self._worn_at is None else {self._worn_at: self._worn})

    def loose(self, sweep: int) -> LooseContact | None:
        """Return the loose contact as it is during the sweep of that number, or None."""
        if self._loose is None:
            return None
        draws = np.random.default_rng((self._seed, 7, sweep)).uniform(_LEAST, _MOST, 2)
        return LooseContact(self._loose, _OHM * float(draws[0]), _HENRY * float(draws[1]))


def _free(connections: Mapping[int, Attached]) -> list[str]:
    """Return the balanced ports of a specimen that is attached, none of whose legs is attached."""
    attached = {leg for one in connections.values() for leg in one.conductors}
    return [port for port in BALANCED_PORTS if attached and attached.isdisjoint(legs_of(port))]


def _disturbing(connections: Mapping[int, Attached]) -> set[int]:
    """Return the numbers of the disturbing cables that are attached."""
    return {cable_of(leg) for one in connections.values() for leg in one.conductors} - {0}
