"""Reciprocal networks between two rows of eight conductors, and how they are joined.

Every part of a simulated specimen is such a network. All blocks have the shape ``(n_freq, 8, 8)``; left is
the side of end A, right that of end B. ``s12`` is not stored: reciprocity makes it the transpose of
``s21``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Network", "cascade", "change_reference", "congruence", "from_matrix", "line", "star", "unitary"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


@dataclass(frozen=True)
class Network:
    """A reciprocal network: reflection at the left, transmission to the right, reflection at the right."""

    s11: Complex
    s21: Complex
    s22: Complex

    @property
    def s12(self) -> Complex:
        """Transmission from right to left."""
        return self.s21.swapaxes(-1, -2)

    def reversed(self) -> Network:
        """Return the same part turned end for end."""
        return Network(self.s22, self.s12, self.s11)

    def matrix(self) -> Complex:
        """Return the whole scattering matrix, ``(n_freq, 16, 16)``, left ports first."""
        return np.concatenate(
            [
                np.concatenate([self.s11, self.s12], axis=-1),
                np.concatenate([self.s21, self.s22], axis=-1),
            ],
            axis=-2,
        )


def from_matrix(matrix: Complex) -> Network:
    """Return the network of a reciprocal matrix ``(n_freq, 2n, 2n)``."""
    n = matrix.shape[-1] // 2
    return Network(matrix[:, :n, :n], matrix[:, n:, :n], matrix[:, n:, n:])


def star(left: Network, right: Network) -> Network:
    """Join the right ports of `left` to the left ports of `right` (Redheffer star product).

    Only one 8x8 system per frequency is solved, because the fourth block follows from reciprocity; chain
    matrices are avoided since they grow like the inverse of the loss.
    """
    n = left.s22.shape[-1]
    loop = np.eye(n) - left.s22 @ right.s11
    known = np.concatenate([left.s21, left.s22 @ right.s12], axis=-1)
    waves = np.linalg.solve(loop, known)
    into, back = waves[..., :n], waves[..., n:]
    return Network(
        left.s11 + left.s12 @ right.s11 @ into,
        right.s21 @ into,
        right.s22 + right.s21 @ back,
    )


def cascade(parts: Iterable[Network]) -> Network:
    """Join parts in order from end A to end B. There is at least one."""
    total: Network | None = None
    for part in parts:
        total = part if total is None else star(total, part)
    if total is None:
        raise ValueError("a cascade needs at least one part")
    return total


def line(network: Network, left: Complex, right: Complex) -> Network:
    """Put matched uncoupled lines before and behind `network`.

    Parameters
    ----------
    left, right
        Transmission of the lines, ``(n_freq, 1)`` for all conductors or modes alike, or ``(n_freq, 8)``.
    """
    return Network(
        network.s11 * left[:, :, None] * left[:, None, :],
        network.s21 * right[:, :, None] * left[:, None, :],
        network.s22 * right[:, :, None] * right[:, None, :],
    )


def unitary(backward: Complex, forward: Complex) -> Network:
    """Return the lossless network that first-order coupling integrals stand for, made exactly unitary.

    Parameters
    ----------
    backward
        ``(n_freq, 8, 8)`` complex symmetric; the reflection from the left is j times this to first order.
    forward
        ``(n_freq, 8, 8)`` Hermitian; the transmission is 1 - j times this to first order.

    Notes
    -----
    Cayley form ``U = 2 (I + jH/2)^-1 - I`` of ``H = [[F*, -B], [-B*, F]]``: unitary for any Hermitian ``H``,
    and the system to invert is never near singular (its eigenvalues are ``1 + j lambda/2``).
    """
    n = backward.shape[-1]
    system = np.empty((backward.shape[0], 2 * n, 2 * n), dtype=np.complex128)
    system[:, :n, :n] = 0.5j * forward.conj()
    system[:, :n, n:] = -0.5j * backward
    system[:, n:, :n] = -0.5j * backward.conj()
    system[:, n:, n:] = 0.5j * forward
    index = np.arange(2 * n)
    system[:, index, index] += 1.0
    scatter: Complex = 2.0 * np.linalg.inv(system).astype(np.complex128, copy=False)
    scatter[:, index, index] -= 1.0
    # Rows are the waves leaving (backward at the left, forward at the right), columns those entering.
    return Network(scatter[:, :n, n:], scatter[:, n:, n:], scatter[:, n:, :n])


def change_reference(matrix: Complex, impedance_ohm: NDArray[np.number], reference_ohm: float) -> Complex:
    """Change the reference impedance of every port.

    Parameters
    ----------
    matrix
        ``(n_freq, n, n)`` referred to `impedance_ohm`.
    impedance_ohm
        Reference of each port, ``(n,)`` or ``(n_freq, n)``; may be complex.
    reference_ohm
        New real reference of all ports.

    Notes
    -----
    A port's voltage and current written in the waves of both references give
    ``a' = p a + q b`` and ``b' = q a + p b``, hence ``S' = (q + p S)(p + q S)^-1``.
    """
    root = 2.0 * np.sqrt(reference_ohm * np.asarray(impedance_ohm, dtype=np.complex128))
    n = matrix.shape[-1]
    p = np.broadcast_to((impedance_ohm + reference_ohm) / root, (matrix.shape[0], n))
    q = np.broadcast_to((impedance_ohm - reference_ohm) / root, (matrix.shape[0], n))
    outgoing = p[:, :, None] * matrix
    incoming = q[:, :, None] * matrix
    index = np.arange(n)
    outgoing[:, index, index] += q
    incoming[:, index, index] += p
    solved = np.linalg.solve(incoming.swapaxes(-1, -2), outgoing.swapaxes(-1, -2))
    return np.asarray(solved.swapaxes(-1, -2), dtype=np.complex128)


def congruence(network: Network, transform: Real) -> Network:
    """Return `network` in another orthonormal basis: every block becomes ``transform^T block transform``."""

    def turned(block: Complex) -> Complex:
        return np.asarray(transform.T @ block @ transform, dtype=np.complex128)

    return Network(turned(network.s11), turned(network.s21), turned(network.s22))
