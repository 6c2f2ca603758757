from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._methods import EXCHANGE, is_numbered
from benchsweep.errors import CalibrationError
from benchsweep.records import RawHookup

__all__ = ["Pair", "Readings", "gather"]

ONE_PORT_STANDARDS = ("open", "short", "load", "reflect")
_HINT = "Make the whole calibration again."

Pair = tuple[int, int]
"""Two ports that a standard joins, the lower one first."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """The raw readings of the standards, sorted by what was connected.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    ports
        All ports, rising.
    reflections
        One-port standard -> port -> ``(n_freq,)`` raw reflection.
    two_ports
        Pair -> two-port standard -> ``(n_freq, 2, 2)`` raw matrix, lower port first.
    switch_terms
        Pair -> ``(n_freq, 2)``: a/b at the lower and at the higher port while the other one drives; the mean
        of all two-port standards with which they were measured.
    """

    frequency_hz: NDArray[np.float64]
    ports: tuple[int, ...]
    reflections: Mapping[str, Mapping[int, NDArray[np.complex128]]]
    two_ports: Mapping[Pair, Mapping[str, NDArray[np.complex128]]]
    switch_terms: Mapping[Pair, NDArray[np.complex128]]

    def some(self, points: NDArray[np.bool_]) -> Readings:
        """Return the readings at some of the frequencies."""
        return Readings(
            self.frequency_hz[points],
            self.ports,
            {name: {port: raw[points] for port, raw in at.items()} for name, at in self.reflections.items()},
            {pair: {name: raw[points] for name, raw in at.items()} for pair, at in self.two_ports.items()},
            {pair: terms[points] for pair, terms in self.switch_terms.items()},
        )


def gather(hookups: Sequence[RawHookup], one_port: Sequence[str]) -> Readings:
    """Sort the hookups of a calibration plan by their connections; of a repeated standard the last counts.

    Parameters
    ----------
    hookups
        Finished hookups.
    one_port
        Standards that every port must have.

    Raises
    ------
    CalibrationError
        A standard is missing at a port, connections contradict each other, grids differ or readings are no
        numbers.
    """
    if not hookups:
        raise CalibrationError("no standard was measured", hint=_HINT)
    frequency_hz = hookups[0].sweep.frequency_hz
    reflections: dict[str, dict[int, NDArray[np.complex128]]] = {name: {} for name in one_port}
    two_ports: dict[Pair, dict[str, NDArray[np.complex128]]] = {}
    switch: dict[Pair, dict[str, NDArray[np.complex128]]] = {}
    ports: set[int] = set()
    for item in hookups:
        _check_sweep(item, frequency_hz)
        ports.update(item.hookup.connections)
        for port, target in item.hookup.connections.items():
            words = target.split()
            at = item.sweep.analyzer_ports.index(port)
            if len(words) == 1 and words[0] in ONE_PORT_STANDARDS:
                reflections.setdefault(words[0], {})[port] = item.sweep.s[:, at, at]
                continue
            other = _other_end(item, port, words)
            if other < port:
                continue  # met at its lower end
            index = [at, item.sweep.analyzer_ports.index(other)]
            two_ports.setdefault((port, other), {})[words[0]] = item.sweep.s[:, index][:, :, index]
            if item.sweep.switch_terms is not None:
                term = item.sweep.switch_terms
                met = np.stack([term[:, index[0], index[1]], term[:, index[1], index[0]]], axis=1)
                switch.setdefault((port, other), {})[words[0]] = met
    ordered = tuple(sorted(ports))
    for name in one_port:
        missing = [str(port) for port in ordered if port not in reflections[name]]
        if missing:
            raise CalibrationError(f"the {name} was not measured at port {', '.join(missing)}", hint=_HINT)
    return Readings(
        frequency_hz,
        ordered,
        reflections,
        dict(sorted(two_ports.items())),
        {pair: np.mean(list(met.values()), axis=0) for pair, met in switch.items()},
    )


def _check_sweep(item: RawHookup, frequency_hz: NDArray[np.float64]) -> None:
    where = f"hookup {item.hookup.number}"
    unswept = [str(port) for port in item.hookup.connections if port not in item.sweep.analyzer_ports]
    if unswept:
        raise CalibrationError(f"{where}: port {', '.join(unswept)} was connected but not swept", hint=_HINT)
    if not np.array_equal(item.sweep.frequency_hz, frequency_hz):
        raise CalibrationError(
            f"{where}: its frequency grid differs from that of the first hookup", hint=_HINT
        )
    numbers = [item.sweep.s] if item.sweep.switch_terms is None else [item.sweep.s, item.sweep.switch_terms]
    if not all(np.all(np.isfinite(values)) for values in numbers):
        raise CalibrationError(f"{where}: the sweep holds values that are no numbers", hint=_HINT)


def _is_two_port(name: str) -> bool:
    return name in ("thru", EXCHANGE) or is_numbered(name, "line") or is_numbered(name, "reciprocal")


def _other_end(item: RawHookup, port: int, words: Sequence[str]) -> int:
    """Return the port at the other end of the two-port standard at `port`."""
    where = f"hookup {item.hookup.number}, port {port}"
    if len(words) != 2 or not _is_two_port(words[0]) or not words[1].isdecimal():
        raise CalibrationError(
            f"{where}: {' '.join(words)!r} is no calibration standard ({', '.join(ONE_PORT_STANDARDS)}; "
            "thru N, line-1 N, reciprocal-1 N, exchange N with the port at the other end)",
            hint=_HINT,
        )
    other = int(words[1])
    if other == port or item.hookup.connections.get(other, "").split() != [words[0], str(port)]:
        kind = "through connection" if words[0] == "thru" else words[0]
        raise CalibrationError(f"{where}: a {kind} to port {other} that does not come back", hint=_HINT)
    return other
