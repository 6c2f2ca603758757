"""The variances that random variables cause, from base sensitivities and what each does with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.uncertainty._interval import projected_variance
from benchsweep.uncertainty._variables import Source

__all__ = ["source_variances"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]


def source_variances(
    sensitivity: Complex, sources: Sequence[Source], used: Index, place: Index
) -> tuple[Real, Real]:
    """Return the variance along and across the wave, `projected_variance` summed over all variables.

    Parameters
    ----------
    sensitivity
        ``(n_point, n_base, n_variable)`` base sensitivities b of the space in which all sources sit.
    sources
        Each acts through ``h = sum of c_m b_m``.
    used
        Places in the grid that occur.
    place
        ``(n_point,)``: which of them a point has.
    """
    if sensitivity.shape[2] == 1:
        return _of_one_variable(sensitivity[:, :, 0], sources, used, place)
    parts = np.concatenate([sensitivity.real, sensitivity.imag], axis=1)
    gram = (parts @ parts.swapaxes(1, 2)).reshape(place.size, -1)
    along, across = (np.einsum("pk,pk->p", one[place], gram) for one in _moments(sources, used))
    return along, across


def _alike(sources: Iterable[Source], at: Index) -> Iterable[tuple[Complex, Real, Complex]]:
    """Yield sensitivity c, power and square of sources that act in the same way, at places `at`.

    Many do: all that happens to one standard. c is ``(n_base, n_at)`` or ``(n_base, 1)``.
    """
    groups: dict[int, list[Source]] = {}
    for source in sources:
        groups.setdefault(id(source.sensitivity), []).append(source)
    for group in groups.values():
        c = group[0].sensitivity.T
        x = np.concatenate([source.directions for source in group]).take(at, axis=1)
        power, square = (x.real**2 + x.imag**2).sum(axis=0), (x * x).sum(axis=0)
        yield c if c.shape[1] == 1 else c.take(at, axis=1), power, square


def _of_one_variable(
    sensitivity: Complex, sources: Sequence[Source], used: Index, place: Index
) -> tuple[Real, Real]:
    """One variable for all ports needs no sum over ports: h itself, ``(n_point,)``."""
    along, across = np.zeros((2, place.size))
    for c, power, square in _alike(sources, used):
        h = sensitivity @ c[:, 0] if c.shape[1] == 1 else np.einsum("pm,mp->p", sensitivity, c[:, place])
        along += projected_variance(h, power[place], square[place])
        across += projected_variance(-1j * h, power[place], square[place])
    return along, across


def _moments(sources: Sequence[Source], at: Index) -> tuple[Real, Real]:
    """Return ``(n_at, 4 n_base^2)``: what products of base sensitivities add to the variances, at `at`.

    With w the sum of power c_m conj(c_n) and v that of square c_m c_n, the sums of |h|^2 and of h^2 are
    bilinear in the real and imaginary parts of the b_m.
    """
    n_base = sources[0].sensitivity.shape[1]
    # The places last: numpy is slow with arrays whose last axis is short.
    w, v = np.zeros((2, n_base, n_base, at.size), dtype=np.complex128)
    level: list[tuple[Complex, Real, Complex]] = []
    for c, power, square in _alike(sources, at):
        if c.shape[1] == 1:
            level.append((c[:, 0], power, square))
            continue
        w += (power * c)[:, None] * np.conj(c)
        v += (square * c)[:, None] * c
    if level:
        # The same at all frequencies: one product of matrices for all of them.
        outer = [
            np.array([np.outer(c, other(c)).ravel() for c, _, _ in level]) for other in (np.conj, np.array)
        ]
        w += (outer[0].T @ np.array([power for _, power, _ in level])).reshape(w.shape)
        v += (outer[1].T @ np.array([square for _, _, square in level])).reshape(v.shape)
    along, across = np.empty((2, 2, n_base, 2, n_base, at.size))
    for found, sign in ((along, 1.0), (across, -1.0)):
        found[0, :, 0] = w.real + sign * v.real
        found[1, :, 1] = w.real - sign * v.real
        found[0, :, 1] = w.imag - sign * v.imag
        found[1, :, 0] = -w.imag - sign * v.imag
    return 0.5 * along.reshape(-1, at.size).T, 0.5 * across.reshape(-1, at.size).T
