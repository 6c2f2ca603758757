from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import CalibrationError
from benchsweep.records import RawHookup

__all__ = ["ONE_PORT_STANDARDS", "Readings", "gather", "gather_reflections"]

ONE_PORT_STANDARDS = ("short", "open", "load")
_HINT = "Make the whole calibration again."


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
        Standard -> port -> ``(n_freq,)`` raw reflection.
    common
        The port that shares a through connection with every other one.
    thrus
        Other port -> ``(n_freq, 2, 2)`` raw matrix in the order common port, other port.
    """

    frequency_hz: NDArray[np.float64]
    ports: tuple[int, ...]
    reflections: Mapping[str, Mapping[int, NDArray[np.complex128]]]
    common: int
    thrus: Mapping[int, NDArray[np.complex128]]


@dataclass(frozen=True, slots=True, eq=False)
class _Sorted:
    frequency_hz: NDArray[np.float64]
    ports: tuple[int, ...]
    reflections: Mapping[str, Mapping[int, NDArray[np.complex128]]]
    thrus: Mapping[tuple[int, int], NDArray[np.complex128]]


def gather(hookups: Sequence[RawHookup]) -> Readings:
    """Sort the hookups of a calibration plan by their connections; of a repeated standard the last counts.

    Raises
    ------
    CalibrationError
        A standard is missing at a port, connections contradict each other, grids differ or readings are no
        numbers.
    """
    found = _sorted(hookups)
    common = _common_port(found.ports, found.thrus)
    return Readings(
        found.frequency_hz,
        found.ports,
        found.reflections,
        common,
        {port: found.thrus[common, port] for port in found.ports if port != common},
    )


def gather_reflections(
    hookups: Sequence[RawHookup],
) -> tuple[NDArray[np.float64], Mapping[str, Mapping[int, NDArray[np.complex128]]]]:
    """Return the grid and standard -> port -> raw reflection; throughs need not be measured yet.

    Raises
    ------
    CalibrationError
        As `gather`.
    """
    found = _sorted(hookups)
    return found.frequency_hz, found.reflections


def _sorted(hookups: Sequence[RawHookup]) -> _Sorted:
    if not hookups:
        raise CalibrationError("no standard was measured", hint=_HINT)
    frequency_hz = hookups[0].sweep.frequency_hz
    reflections: dict[str, dict[int, NDArray[np.complex128]]] = {name: {} for name in ONE_PORT_STANDARDS}
    thrus: dict[tuple[int, int], NDArray[np.complex128]] = {}
    ports: set[int] = set()
    for item in hookups:
        _check_sweep(item, frequency_hz)
        ports.update(item.hookup.connections)
        for port, target in item.hookup.connections.items():
            words = target.split()
            at = item.sweep.analyzer_ports.index(port)
            if len(words) == 1 and words[0] in reflections:
                reflections[words[0]][port] = item.sweep.s[:, at, at]
            else:
                other = _thru_end(item, port, words)
                to = item.sweep.analyzer_ports.index(other)
                thrus[port, other] = item.sweep.s[:, [at, to]][:, :, [at, to]]
    ordered = tuple(sorted(ports))
    for name in ONE_PORT_STANDARDS:
        missing = [str(port) for port in ordered if port not in reflections[name]]
        if missing:
            raise CalibrationError(f"the {name} was not measured at port {', '.join(missing)}", hint=_HINT)
    return _Sorted(frequency_hz, ordered, reflections, thrus)


def _check_sweep(item: RawHookup, frequency_hz: NDArray[np.float64]) -> None:
    where = f"hookup {item.hookup.number}"
    unswept = [str(port) for port in item.hookup.connections if port not in item.sweep.analyzer_ports]
    if unswept:
        raise CalibrationError(f"{where}: port {', '.join(unswept)} was connected but not swept", hint=_HINT)
    if not np.array_equal(item.sweep.frequency_hz, frequency_hz):
        raise CalibrationError(
            f"{where}: its frequency grid differs from that of the first hookup", hint=_HINT
        )
    if not np.all(np.isfinite(item.sweep.s)):
        raise CalibrationError(f"{where}: the sweep holds values that are no numbers", hint=_HINT)


def _thru_end(item: RawHookup, port: int, words: Sequence[str]) -> int:
    """Return the port at the other end of the through connection at `port`."""
    where = f"hookup {item.hookup.number}, port {port}"
    if len(words) != 2 or words[0] != "thru" or not words[1].isdecimal():
        raise CalibrationError(
            f"{where}: {' '.join(words)!r} is no calibration standard (open, short, load or thru N)",
            hint=_HINT,
        )
    other = int(words[1])
    if other == port or item.hookup.connections.get(other, "").split() != ["thru", str(port)]:
        raise CalibrationError(
            f"{where}: a through connection to port {other} that does not come back", hint=_HINT
        )
    return other


def _common_port(ports: tuple[int, ...], thrus: Mapping[tuple[int, int], object]) -> int:
    """Return the first port that has a through connection to every other one."""
    missing = {
        port: [other for other in ports if other != port and (port, other) not in thrus] for port in ports
    }
    common = min(ports, key=lambda port: len(missing[port]))
    if missing[common]:
        lacking = ", ".join(f"{common}-{other}" for other in missing[common])
        raise CalibrationError(f"the through connection {lacking} was not measured", hint=_HINT)
    return common
