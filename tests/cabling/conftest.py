"""Ideal specimens built from chain matrices of eight conductors, independent of the simulator.

State at a plane: voltages and currents of conductors 1 to 8. A pair of lines carries a differential and a
common mode; in the orthonormal pair (v1 - v2)/sqrt2, (v1 + v2)/sqrt2 their impedances are Zd/2 and 2 Zc.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import CONTACTS_OF_PAIR, FOUR_PAIRS, ModePort, SMatrix, balanced_ports

Z0 = 50.0
EYE = np.eye(8)
ZERO = np.zeros((8, 8))
ROOT2 = np.sqrt(2.0)


def chain(a, b, c, d):
    return np.concatenate([np.concatenate([a, b], axis=2), np.concatenate([c, d], axis=2)], axis=1)


def full(f, matrix):
    return np.broadcast_to(np.asarray(matrix, dtype=np.complex128), (f.size, 8, 8))


def mode_matrix():
    """Rows: differential modes of the pairs, then common modes; columns: conductors."""
    m = np.zeros((8, 8))
    for row, (plus, minus) in enumerate(CONTACTS_OF_PAIR.values()):
        m[row, [plus - 1, minus - 1]] = 1 / ROOT2, -1 / ROOT2
        m[row + 4, [plus - 1, minus - 1]] = 1 / ROOT2, 1 / ROOT2
    return m


def line(f, length_m, *, delay_d=5.1e-9, delay_c=4.8e-9, z_d=100.0, z_c=25.0, loss=0.0):
    """Four uncoupled pairs; delay in s/m, one for all or for each pair; loss in dB/m at 1 MHz, ~ sqrt f."""
    m = mode_matrix()
    tau = np.concatenate([np.broadcast_to(delay_d, 4), np.broadcast_to(delay_c, 4)])
    z = np.concatenate([np.broadcast_to(z_d, 4) / 2.0, np.broadcast_to(z_c, 4) * 2.0])
    alpha = loss / 8.685889638 * np.sqrt(f / 1e6)
    gamma_l = (alpha[:, None] + 2j * np.pi * f[:, None] * tau) * length_m
    cosh, sinh = np.cosh(gamma_l), np.sinh(gamma_l)

    def spread(diagonal):
        return np.einsum("ki,fk,kj->fij", m, diagonal, m)

    return chain(spread(cosh), spread(sinh * z), spread(sinh / z), spread(cosh))


def permute(f, order: Sequence[int]):
    """Contact i on the left leads to conductor ``order[i-1]`` on the right."""
    p = np.zeros((8, 8))
    for left, right in enumerate(order):
        p[left, right - 1] = 1.0
    return chain(full(f, p), full(f, ZERO), full(f, ZERO), full(f, p))


def series(f, impedance: dict[int, object]):
    z = np.zeros((f.size, 8, 8), dtype=np.complex128)
    for contact, value in impedance.items():
        z[:, contact - 1, contact - 1] = value
    return chain(full(f, EYE), z, full(f, ZERO), full(f, EYE))


def shunt(f, i: int, k: int, resistance: float):
    y = np.zeros((8, 8))
    y[i - 1, i - 1] = y[k - 1, k - 1] = 1.0 / resistance
    y[i - 1, k - 1] = y[k - 1, i - 1] = -1.0 / resistance
    return chain(full(f, EYE), full(f, ZERO), full(f, y), full(f, EYE))


def broken(f, *contacts: int):
    """An open: 0.05 pF is left across the break."""
    return series(f, dict.fromkeys(contacts, 1.0 / (2j * np.pi * f * 5e-14)))


def legs(pairs=FOUR_PAIRS):
    return [leg for port in balanced_ports(pairs) for leg in port.legs]


def to_s(f, *parts) -> SMatrix:
    """Return the 16-port of parts in a row, legs of end A then of end B."""
    whole = parts[0]
    for part in parts[1:]:
        whole = whole @ part
    a, b, c, d = whole[:, :8, :8], whole[:, :8, 8:] / Z0, whole[:, 8:, :8] * Z0, whole[:, 8:, 8:]
    eye = full(f, EYE)
    left = np.concatenate(
        [np.concatenate([eye, -(a + b)], axis=2), np.concatenate([-eye, -(c + d)], axis=2)], axis=1
    )
    right = np.concatenate(
        [np.concatenate([-eye, a - b], axis=2), np.concatenate([-eye, c - d], axis=2)], axis=1
    )
    s = np.linalg.solve(left, right)
    contacts = [leg.contact - 1 for leg in legs()]
    order = [index + (8 if port.port.end == "B" else 0) for index, port in zip(contacts, legs(), strict=True)]
    return SMatrix(f, s[:, order][:, :, order], tuple(map(str, legs())), (Z0,) * 16)


def to_mixed(single_ended: SMatrix) -> SMatrix:
    """Mixed mode by its definition (Bockelman and Eisenstadt 1995): d = (p - n)/sqrt2, c = (p + n)/sqrt2."""
    known = [p for p in balanced_ports() if all(single_ended.has(leg) for leg in p.legs)]
    m = np.zeros((2 * len(known), len(single_ended.ports)))
    for row, port in enumerate(known):
        plus, minus = (single_ended.ports.index(str(leg)) for leg in port.legs)
        m[row, [plus, minus]] = 1 / ROOT2, -1 / ROOT2
        m[row + len(known), [plus, minus]] = 1 / ROOT2, 1 / ROOT2
    labels = tuple(str(ModePort(port, mode)) for mode in ("d", "c") for port in known)
    z0 = (100.0,) * len(known) + (25.0,) * len(known)
    return SMatrix(single_ended.frequency_hz, m @ single_ended.s @ m.T, labels, z0)


def part_of(matrix: SMatrix, keep) -> SMatrix:
    index = [i for i, label in enumerate(matrix.ports) if keep(label)]
    return SMatrix(
        matrix.frequency_hz,
        matrix.s[:, index][:, :, index],
        tuple(matrix.ports[i] for i in index),
        tuple(matrix.z0_ohm[i] for i in index),
    )


def mixed_of(
    frequency_hz, entries: dict[tuple[str, str], object], *, modes="dc", pairs=FOUR_PAIRS
) -> SMatrix:
    """Return a mixed-mode matrix that is zero but for `entries`: (out, into) -> values."""
    f = np.asarray(frequency_hz, dtype=np.float64)
    ports = [str(ModePort(port, mode)) for mode in modes for port in balanced_ports(pairs)]
    s = np.zeros((f.size, len(ports), len(ports)), dtype=np.complex128)
    for (out, into), value in entries.items():
        s[:, ports.index(out), ports.index(into)] = value
    return SMatrix(f, s, tuple(ports), tuple(100.0 if p.endswith("d") else 25.0 for p in ports))


@pytest.fixture(scope="session")
def rig() -> SimpleNamespace:
    return SimpleNamespace(
        line=line,
        permute=permute,
        series=series,
        shunt=shunt,
        broken=broken,
        to_s=to_s,
        to_mixed=to_mixed,
        part_of=part_of,
        mixed_of=mixed_of,
    )
