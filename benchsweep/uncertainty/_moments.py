"""The variances that random variables cause, from base sensitivities and what each does with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.uncertainty._entries import Entries
from benchsweep.uncertainty._interval import projected_variance
from benchsweep.uncertainty._variables import Source

__all__ = ["Together", "WaveErrors", "errors_of_sums", "put_together", "source_variances"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """Sources of one space; those that act in the same way (all that happens to one standard) as one.

    Each acts through ``h = sum of c_m b_m`` with powers E|x|^2 and squares E x^2 of its deviations.

    Parameters
    ----------
    level, shaped
        c of those that act alike at all frequencies, ``(n_level, n_base)``; of the others,
        ``(n_shaped, n_base, n_freq)``.
    level_outer
        ``(2, n_level, n_base^2)``: the products ``c_m conj(c_n)`` and ``c_m c_n``.
    power, square
        ``(n_level + n_shaped, n_freq)``, those of `level` first.
    """

    level: Complex
    shaped: Complex
    level_outer: Complex
    power: Real
    square: Complex


def put_together(sources: Sequence[Source]) -> Together:
    """Return `sources`, which sit in one space, as `source_variances` takes them; worth keeping."""
    groups: dict[int, list[Source]] = {}
    for source in sources:
        groups.setdefault(id(source.sensitivity), []).append(source)
    ordered = sorted(groups.values(), key=lambda group: group[0].sensitivity.shape[0] > 1)
    c = [group[0].sensitivity for group in ordered]
    n_base, n_freq = c[0].shape[1], sources[0].directions.shape[1]
    level = np.array([one[0] for one in c if one.shape[0] == 1], dtype=np.complex128).reshape(-1, n_base)
    shaped = np.array([one.T for one in c if one.shape[0] > 1], dtype=np.complex128)
    power = np.zeros((len(ordered), n_freq))
    square = np.zeros((len(ordered), n_freq), dtype=np.complex128)
    for row, group in enumerate(ordered):
        for source in group:
            x = source.directions
            power[row] += (x.real**2 + x.imag**2).sum(axis=0)
            square[row] += (x * x).sum(axis=0)
    outer = np.array(
        [
            (level[:, :, None] * other[:, None, :]).reshape(len(level), n_base**2)
            for other in (level.conj(), level)
        ]
    )
    return Together(level, shaped.reshape(-1, n_base, n_freq), outer, power, square)


def source_variances(sensitivity: Complex, sources: Together, used: Index, place: Index) -> tuple[Real, Real]:
    """Return the variance along and across the wave, `projected_variance` summed over all variables.

    Parameters
    ----------
    sensitivity
        ``(n_point, n_base, n_variable)`` base sensitivities b of the space in which all sources sit.
    sources
        From `put_together`.
    used
        Places in the grid that occur.
    place
        ``(n_point,)``: which of them a point has.
    """
    power, square = sources.power.take(used, axis=1), sources.square.take(used, axis=1)
    shaped = sources.shaped.take(used, axis=2)
    if sensitivity.shape[2] == 1:
        # One variable for all ports needs no sum over ports: h itself.
        b = sensitivity[:, :, 0]
        h = np.concatenate([sources.level @ b.T, np.einsum("gmp,pm->gp", shaped[:, :, place], b)])
        power, square = power[:, place], square[:, place]
        return (
            projected_variance(h, power, square).sum(axis=0),
            projected_variance(-1j * h, power, square).sum(axis=0),
        )
    parts = np.concatenate([sensitivity.real, sensitivity.imag], axis=1)
    gram = (parts @ parts.swapaxes(1, 2)).reshape(place.size, -1)
    along, across = (
        np.einsum("pk,pk->p", one[place], gram) for one in _moments(sources, power, square, shaped)
    )
    return along, across


def _moments(sources: Together, power: Real, square: Complex, shaped: Complex) -> tuple[Real, Real]:
    """Return ``(n_at, 4 n_base^2)``: what products of base sensitivities add to the variances.

    With w the sum of power c_m conj(c_n) and v that of square c_m c_n, the sums of |h|^2 and of h^2 are
    bilinear in the real and imaginary parts of the b_m.
    """
    n_level, n_base = sources.level.shape
    n_at = power.shape[1]
    # The places last: numpy is slow with arrays whose last axis is short.
    w = (sources.level_outer[0].T @ power[:n_level]).reshape(n_base, n_base, n_at)
    v = (sources.level_outer[1].T @ square[:n_level]).reshape(n_base, n_base, n_at)
    for c, one_power, one_square in zip(shaped, power[n_level:], square[n_level:], strict=True):
        w += (one_power * c)[:, None] * np.conj(c)
        v += (one_square * c)[:, None] * c
    along, across = np.empty((2, 2, n_base, 2, n_base, n_at))
    for found, sign in ((along, 1.0), (across, -1.0)):
        found[0, :, 0] = w.real + sign * v.real
        found[1, :, 1] = w.real - sign * v.real
        found[0, :, 1] = w.imag - sign * v.imag
        found[1, :, 0] = -w.imag - sign * v.imag
    return 0.5 * along.reshape(-1, n_at).T, 0.5 * across.reshape(-1, n_at).T


@dataclass(frozen=True, slots=True, eq=False)
class WaveErrors:
    """The errors of some power sums, ``(n_point,)`` each.

    Parameters
    ----------
    power
        The sum of the squared magnitudes.
    single, shared
        Relative variance of its root: from waves that every S-parameter has for itself (noise, leakage,
        floors), and from what S-parameters share.
    square
        Relative mean square of all errors in it.
    """

    power: Real
    single: Real
    shared: Real
    square: Real


def errors_of_sums(entries: Entries, added: Real, along: Real, across: Real) -> WaveErrors:
    """Return the errors of sums of waves from their variances along and across, ``(n_point,)``.

    Parameters
    ----------
    added
        ``(n_entry,)``: what of `along` every entry has for itself.
    """
    single = np.add.reduceat(added, entries.start)
    # A weight is the conjugate wave over the power.
    weights = entries.weight.real**2 + entries.weight.imag**2
    return WaveErrors(
        power=np.asarray(1.0 / np.add.reduceat(weights, entries.start)),
        single=np.asarray(single),
        shared=np.maximum(along - single, 0.0),
        square=np.asarray(along + across * (2 * entries.signals - 1)),
    )
