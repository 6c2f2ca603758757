"""The network that the analyzer sees: specimen and standards at the ends of the test cables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._connections import BALANCED_PORTS, Attached, legs_of, parse_target
from benchsweep.simulator.bench._networks import REFERENCE_OHM, behind
from benchsweep.simulator.bench._pieces import Pieces
from benchsweep.simulator.bench._standards import one_port, two_port
from benchsweep.simulator.bench._terminations import terminated
from benchsweep.simulator.bench._wiring import TWO_X_THRU

__all__ = ["matrix_seen"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_NOTHING = Attached("nothing", name="nothing")
_NAMES = ("nothing", "open", "short", "load", "reflect")
# A short without any inductance has no admittance matrix; this much does not matter.
_LEAST_OHM = 1e-9


def matrix_seen(
    frequency_hz: Real,
    connections: Mapping[int, Attached],
    ports: int,
    pieces: Pieces,
    *,
    conductors: Sequence[str],
    scattering: Complex | None,
    terminators: Mapping[str, str] | None = None,
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
    terminators
        Which terminator sits on which balanced port (``A:36``), where not the usual termination.
    """
    omega = 2.0 * np.pi * frequency_hz
    wiring = pieces.wiring
    at_ends = wiring.at_ends(connections)
    ends = wiring.ends(ports)
    inner = _at_ends(omega, at_ends, ends, pieces, conductors, scattering, terminators or {})
    used = [port for port, attached in connections.items() if attached.conductors]
    front = pieces.front(ports, used, frequency_hz)
    return inner if front is None else behind(front, inner)


def _at_ends(
    omega: Real,
    connections: Mapping[int, Attached],
    ends: int,
    pieces: Pieces,
    conductors: Sequence[str],
    scattering: Complex | None,
    terminators: Mapping[str, str],
) -> Complex:
    """Return the matrix of what is attached to the ends."""
    one_ports = {name: one_port(name, pieces.standards, omega) for name in _NAMES}
    seen = np.zeros((omega.size, ends, ends), dtype=np.complex128)
    legs: dict[str, int] = {}
    checks: dict[str, dict[str, int]] = {}
    joined: dict[int, Attached] = {}
    for index in range(ends):
        attached = connections.get(index + 1, _NOTHING)
        if attached.kind == "joined":
            joined[index] = attached
        elif attached.kind == "check":
            checks.setdefault(attached.name, {})[attached.conductor] = index
        elif attached.kind == "leg" and attached.conductor in conductors:
            legs[attached.conductor] = index
        elif attached.kind != "two-port":
            # A leg that this specimen has not is an end in the air.
            seen[:, index, index] = one_ports[attached.name or "nothing"]
        elif index < attached.port - 1:
            # The near end of a standard that is not alike from both sides goes to the lower number.
            both = np.array([index, attached.port - 1])
            seen[:, both[:, None], both] = two_port(attached.name, pieces.standards, omega)

    names = [*legs, *(name for name in _joined_conductors(joined) if name in conductors)]
    inner = None
    if scattering is not None and names:
        inner = _kept(scattering, conductors, names, pieces, terminators, omega)
    places = np.array([*legs.values(), *joined], dtype=np.intp)
    if joined:
        seen[:, places[:, None], places] = _joined(names, inner, len(legs), joined, one_ports)
    elif inner is not None:
        seen[:, places[:, None], places] = inner
    _put_checks(seen, checks, pieces, terminators, omega)
    return seen


def _put_checks(
    seen: Complex,
    checks: Mapping[str, Mapping[str, int]],
    pieces: Pieces,
    terminators: Mapping[str, str],
    omega: Real,
) -> None:
    """Put check standards into `seen`, given the index of the end of each leg by name and leg."""
    for name, used in checks.items():
        if name == TWO_X_THRU:
            _put_two_x_thrus(seen, used, pieces, omega)
            continue
        artefact = pieces.artefacts[name]
        places = np.array(list(used.values()), dtype=np.intp)
        seen[:, places[:, None], places] = _kept(
            artefact.scatter(omega), artefact.legs, list(used), pieces, terminators, omega
        )


def _put_two_x_thrus(seen: Complex, used: Mapping[str, int], pieces: Pieces, omega: Real) -> None:
    for balanced in BALANCED_PORTS:
        near, far = legs_of(balanced), legs_of(balanced.replace("A", "B"))
        if balanced[0] == "A" and near[0] in used:
            places = np.array([used[leg] for leg in (*near, *far)], dtype=np.intp)
            first, second = places[0] // 2 + 1, places[2] // 2 + 1
            seen[:, places[:, None], places] = pieces.two_x_thru(first, second, omega / (2.0 * np.pi))


def _kept(
    matrix: Complex,
    legs: Sequence[str],
    used: Sequence[str],
    pieces: Pieces,
    terminators: Mapping[str, str],
    omega: Real,
) -> Complex:
    """Return the matrix of the `used` among the `legs`, the others on what they end in."""
    others = [name for name in legs if name not in used]
    return terminated(matrix, legs, used, pieces.loads.reflection(others, terminators, omega))


def _joined_conductors(joined: Mapping[int, Attached]) -> list[str]:
    return [name for one in _by_node(joined).values() for name in one.conductors]


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
                gamma = one_ports[target.name]
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
