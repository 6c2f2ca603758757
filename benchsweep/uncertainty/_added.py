"""Waves that are independent from one S-parameter to the next: noise, leakage, floors."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.uncertainty._entries import Entries
from benchsweep.uncertainty._layout import Layout
from benchsweep.uncertainty._modes import ModeTable, port_relations
from benchsweep.uncertainty._sensitivity import expand_rows
from benchsweep.uncertainty._variables import Additive, carried_power

__all__ = ["added_variances", "noise_excess"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


def added_variances(
    entries: Entries,
    additive: Sequence[Additive],
    table: ModeTable,
    layout: Layout,
    s: Complex,
    ports: tuple[str, ...],
) -> tuple[Real, Real]:
    """Return ``(n_entry,)`` the variance along the wave, which is also that across it; and of noise alone."""
    total, noise = np.zeros((2, entries.point.size))
    if not additive:
        return total, noise
    once: Real = 0.5 * (entries.weight.real**2 + entries.weight.imag**2)
    fresh: Real = once
    if not layout.plain:
        rows = expand_rows(entries, table, layout)
        squared = rows.weight.real**2 + rows.weight.imag**2
        fresh = np.asarray(
            0.5 * np.bincount(rows.entry, weights=squared, minlength=once.size), dtype=np.float64
        )
    # The same wave both ways adds up in the mean of both directions, which makes a delay.
    stays = np.where(entries.timed[entries.point], 2.0 * once, once)
    for one in additive:
        if one.carried:
            power = _carried(entries, one, table, s, ports)
        else:
            power = (one.level**2)[entries.relation, entries.frequency]
        if one.relative:
            power = power * entries.legs
        if one.parameters:
            concerned = np.array([parameter in one.parameters for parameter in entries.parameters])
            power = np.where(concerned[entries.request], power, 0.0)
        if one.fresh:
            noise += power
        else:
            total += stays * power
    noise *= fresh
    return total + noise, noise


def _carried(entries: Entries, one: Additive, table: ModeTable, s: Complex, ports: tuple[str, ...]) -> Real:
    """Return ``(n_entry,)`` of a matrix of modes, in which every mode is a port."""
    used, place = np.unique(entries.frequency, return_inverse=True)
    power = carried_power(s[used], one.level[:, used][port_relations(ports)].transpose(2, 0, 1))
    return np.asarray(power[place, table.places[0][entries.out], table.places[0][entries.into]])


def noise_excess(entries: Entries, noise: Real) -> Real:
    """Return by how much noise makes sums of the larger of two directions too large, ``(n_point,)``.

    The larger of two readings of the same wave is too large by 1/sqrt(pi) standard deviations on average. For
    one wave k = 2 still covers 95 % (0.977^2 - 0.023^2); over a power sum the excesses add up while the
    deviations add in squares, so what they differ by has to be allowed for.
    """
    squares = np.where(entries.either, noise / np.pi, 0.0)
    straight = np.add.reduceat(np.sqrt(squares), entries.start)
    return np.asarray(straight - np.sqrt(np.add.reduceat(squares, entries.start)))
