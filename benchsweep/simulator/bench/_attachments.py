"""The network that the analyzer sees: specimen, standards and thrus at the ends of the test cables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._connections import Attached, parse_target
from benchsweep.simulator.bench._definition import BenchDefinition

__all__ = ["REFERENCE_OHM", "matrix_seen"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

REFERENCE_OHM = 50.0
_NOTHING = Attached("nothing")
# A short without any inductance has no admittance matrix; this much does not matter.
_LEAST_OHM = 1e-9


def matrix_seen(
    frequency_hz: Real,
    connections: Mapping[int, Attached],
    ports: int,
    definition: BenchDefinition,
    *,
    conductors: Sequence[str],
    scattering: Complex | None,
) -> Complex:
    """Return the matrix ``(n_freq, ports, ports)`` at the ends of the test cables.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    connections
        What is attached to which port.
    conductors, scattering
        The specimen's, ``(n_freq, n, n)``; None when none of its legs is attached.
    """
    omega = 2.0 * np.pi * frequency_hz
    one_ports = _one_ports(omega, definition)
    seen = np.zeros((omega.size, ports, ports), dtype=np.complex128)
    legs: dict[str, int] = {}
    joined: dict[int, Attached] = {}
    for index in range(ports):
        attached = connections.get(index + 1, _NOTHING)
        if attached.kind == "thru":
            seen[:, index, attached.port - 1] = np.exp(-1j * omega * definition.standards.thru_delay_s)
        elif attached.kind == "joined":
            joined[index] = attached
        elif attached.kind == "leg" and attached.conductor in conductors:
            legs[attached.conductor] = index
        else:
            # A leg that this specimen has not is an end in the air.
            kind = "nothing" if attached.kind == "leg" else attached.kind
            seen[:, index, index] = one_ports[kind]
    names = [
        *legs,
        *(name for one in _by_node(joined).values() for name in one.conductors if name in conductors),
    ]
    inner = None
    if scattering is not None and names:
        ends = definition.terminations
        admittance = 1.0 / ends.resistance_ohm + 1j * omega * ends.capacitance_f
        inner = _terminated(scattering, conductors, names, _reflection(1.0 / admittance))
    places = np.array([*legs.values(), *joined], dtype=np.intp)
    if joined:
        seen[:, places[:, None], places] = _joined(names, inner, len(legs), joined, one_ports)
    elif inner is not None:
        seen[:, places[:, None], places] = inner
    return seen


def _one_ports(omega: Real, definition: BenchDefinition) -> dict[str, Complex]:
    standards = definition.standards
    return {
        "nothing": np.ones(omega.size, dtype=np.complex128),
        "open": _open(omega, standards.open_capacitance_f),
        "short": _reflection(1j * omega * standards.short_inductance_h),
        "load": _reflection(standards.load_resistance_ohm + 1j * omega * standards.load_inductance_h),
    }


def _reflection(impedance_ohm: NDArray[Any]) -> Complex:
    return np.asarray((impedance_ohm - REFERENCE_OHM) / (impedance_ohm + REFERENCE_OHM), dtype=np.complex128)


def _open(omega: Real, capacitance_f: float) -> Complex:
    """Return the reflection of a fringe capacitance, also of none."""
    y = 1j * omega * capacitance_f * REFERENCE_OHM
    return np.asarray((1.0 - y) / (1.0 + y))


def _terminated(s: Complex, names: Sequence[str], kept: Sequence[str], reflection: Complex) -> Complex:
    """Return `s` of the `kept` conductors, every other one ending in `reflection` ``(n_freq,)``.

    ``S_aa + S_ab R (I - S_bb R)^-1 S_ba``.
    """
    a = np.array([names.index(name) for name in kept])
    b = np.array([i for i, name in enumerate(names) if name not in kept], dtype=np.intp)
    inner = s[:, a[:, None], a]
    if b.size == 0:
        return inner
    r = reflection[:, None, None]
    into = np.linalg.solve(np.eye(b.size) - s[:, b[:, None], b] * r, s[:, b[:, None], a])
    return np.asarray(inner + (s[:, a[:, None], b] * r) @ into)


def _by_node(joined: Mapping[int, Attached]) -> dict[int, Attached]:
    """Return one port's attachment for each node."""
    return {attached.node: attached for attached in joined.values()}


def _joined(
    names: Sequence[str],
    inner: Complex | None,
    plain: int,
    joined: Mapping[int, Attached],
    one_ports: Mapping[str, Complex],
) -> Complex:
    """Return the matrix at the ports that lead to the specimen or hang on nodes together.

    With v the voltages of the nodes and Y the admittance of what hangs on them (both at 50 ohm), waves a into
    the ports P give ``(Y + P^T P) v = 2 P^T a`` and come back as ``b = P v - a``.

    Parameters
    ----------
    names, inner
        Conductors that are led to a port, and their matrix; the first `plain` of them to one port each.
    joined
        The other ports by index, in rising order.
    """
    points = one_ports["nothing"].size
    nodes = {number: plain + place for place, number in enumerate(_by_node(joined))}
    total = plain + len(nodes)
    admittance = np.zeros((points, total, total), dtype=np.complex128)
    owner = dict(zip(names[:plain], range(plain), strict=True))
    for number, attached in _by_node(joined).items():
        for target in map(parse_target, attached.targets):
            if target.conductor in names:
                owner[target.conductor] = nodes[number]
            elif target.kind != "leg":
                gamma = one_ports[target.kind]
                admittance[:, nodes[number], nodes[number]] += 1.0 / (
                    _impedance(gamma) + _LEAST_OHM / REFERENCE_OHM
                )
    if inner is not None:
        unit = np.eye(len(names))
        branches = np.linalg.solve(unit + inner, unit - inner)
        where = np.zeros((len(names), total))
        where[np.arange(len(names)), [owner[name] for name in names]] = 1.0
        admittance += where.T @ branches @ where
    ports = np.zeros((plain + len(joined), total))
    ports[np.arange(plain), np.arange(plain)] = 1.0
    for place, attached in enumerate(joined.values()):
        ports[plain + place, nodes[attached.node]] = 1.0
    volts = np.linalg.solve(
        admittance + ports.T @ ports, np.broadcast_to(2.0 * ports.T, (points, *ports.T.shape))
    )
    return np.asarray(ports @ volts - np.eye(ports.shape[0]))


def _impedance(gamma: Complex) -> Complex:
    """Return the impedance of a reflection over 50 ohm; 1e30 for an end in the air."""
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (1.0 + gamma) / (1.0 - gamma)
    return np.asarray(np.where(gamma == 1.0, 1e30, z))
