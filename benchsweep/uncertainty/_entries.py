"""Which S-parameters a value of a trace is made of, and with what weight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.records import (
    FOUR_PAIRS,
    BalancedPort,
    End,
    Mode,
    ModePort,
    Parameter,
    Trace,
    balanced_ports_among,
)
from benchsweep.uncertainty._modes import ModeTable, mode_table, relation

__all__ = ["Entries", "collect_entries"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]

_SMALLEST = 1e-15
_NS = 1e9
_FAINT = 10.0 ** (-10.0 / 20.0)


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """The entries of all requested points; those of one point stand together.

    A small error E of the matrix changes value number `point` by ``Re sum weight E[out, into]``: relatively
    (in neper, so that a positive change is more signal) or, where `timed`, in ns.

    Parameters
    ----------
    point, frequency, out, into, relation
        ``(n_entry,)``: number of the point, place in the grid, rows of the mode table, `OWN` …
    weight
        ``(n_entry,)`` complex128.
    start
        ``(n_point,)``: first entry of every point.
    signals
        ``(n_point,)``: how many entries are summed in power.
    timed
        ``(n_point,)`` bool.
    faint
        ``(n_point,)`` bool: the value is a difference to an insertion loss of 10 dB or more.
    either
        ``(n_entry,)`` bool: the larger of both directions was taken.
    legs
        ``(n_entry,)``: sum of the squared magnitudes of what an entry is made of, S-parameters between legs
        with their parts in it.
    request, parameters
        ``(n_entry,)``: number of the request; and the parameter of each request.
    """

    point: Index
    frequency: Index
    out: Index
    into: Index
    relation: Index
    weight: Complex
    start: Index
    signals: Index
    timed: NDArray[np.bool_]
    faint: NDArray[np.bool_]
    either: NDArray[np.bool_]
    legs: Real
    request: Index
    parameters: tuple[Parameter, ...]


_Place = tuple[BalancedPort, Mode]


def _through(end: End, pair: str) -> tuple[_Place, _Place]:
    far: End = "B" if end == "A" else "A"
    return (BalancedPort(end, pair), "d"), (BalancedPort(far, pair), "d")


def _signals(
    parameter: Parameter, end: End, pairs: tuple[str, ...], ports: tuple[str, ...]
) -> list[tuple[_Place, _Place]]:
    """Return out and into of the entries that are summed in power.

    Of alien crosstalk these are the couplings that the matrix holds, without an insertion loss, which is not
    in it.
    """
    far: End = "B" if end == "A" else "A"
    here = BalancedPort(end, pairs[0])
    sent_at = end if parameter is Parameter.PS_ANEXT else far
    senders = [port for port in balanced_ports_among(ports) if port.cable and port.end == sent_at]
    others = pairs[1:] or tuple(pair for pair in FOUR_PAIRS if pair != pairs[0])
    match parameter:
        case Parameter.INSERTION_LOSS:
            return [_through(end, pairs[0])]
        case Parameter.RETURN_LOSS:
            return [((here, "d"), (here, "d"))]
        case Parameter.NEXT | Parameter.PS_NEXT | Parameter.ACR_N | Parameter.PS_ACR_N:
            return [((here, "d"), (BalancedPort(end, pair), "d")) for pair in others]
        case Parameter.FEXT | Parameter.ACR_F | Parameter.PS_ACR_F:
            return [((here, "d"), (BalancedPort(far, pair), "d")) for pair in others]
        case Parameter.PS_ANEXT | Parameter.PS_AACR_F if senders:
            return [((here, "d"), (port, "d")) for port in senders]
        case Parameter.TCL:
            return [((here, "c"), (here, "d"))]
        case Parameter.ELTCTL:
            return [((here, "c"), (BalancedPort(far, pairs[0]), "d"))]
        case _:
            raise UsageError(
                f"no uncertainty of {parameter} is known", hint="It is not made of entries of one matrix."
            )


_BELOW_SIGNAL = frozenset(
    {Parameter.ACR_N, Parameter.PS_ACR_N, Parameter.ACR_F, Parameter.PS_ACR_F, Parameter.ELTCTL}
)
_EITHER_WAY = frozenset({Parameter.NEXT, Parameter.PS_NEXT, Parameter.ACR_N, Parameter.PS_ACR_N})
_TIMED = frozenset({Parameter.DELAY, Parameter.SKEW})


@lru_cache(maxsize=4096)
def _template(
    parameter: Parameter, end: End | None, pairs: tuple[str, ...], ports: tuple[str, ...]
) -> tuple[Index, int]:
    """Return ``(n_entry, 6)`` and how many of them are signals.

    The columns are out, into, group, either way, relation, sign. Entries of a group are summed: in power, or
    as waves where the value is a time.
    """
    table = mode_table(ports)
    found: list[tuple[tuple[_Place, _Place], int, bool, int]] = []
    if parameter in _TIMED:
        for group, pair in enumerate(pairs):
            sign = 1 if group == 0 else -1
            found += [(_through(way, pair), group, False, sign) for way in ("A", "B")]
    else:
        at: End = end or "A"
        found += [(one, 0, parameter in _EITHER_WAY, 1) for one in _signals(parameter, at, pairs, ports)]
        if parameter in _BELOW_SIGNAL:
            found.append((_through(at, pairs[0]), 1, False, -1))
    rows = []
    for (out, into), group, either, sign in found:
        labels = [str(ModePort(port, mode)) for port, mode in (out, into)]
        lacking = [label for label in labels if label not in table.index]
        if lacking:
            raise UsageError(
                f"{parameter} {'-'.join(pairs)}: the matrix has no {lacking[0]}",
                hint="Ask for traces that were computed from this matrix.",
            )
        related = relation(out[0], into[0])
        rows.append((table.index[labels[0]], table.index[labels[1]], group, int(either), related, sign))
    return np.array(rows, dtype=np.intp), sum(group == 0 for _, group, _, _ in found)


def collect_entries(
    s: Complex, frequency_hz: Real, ports: tuple[str, ...], requests: Sequence[tuple[Trace, Index]]
) -> Entries:
    """Collect the entries of every requested point with their weights.

    Raises
    ------
    UsageError
        A parameter that is not made of entries of this matrix.
    """
    templates = [_template(trace.parameter, trace.end, trace.pairs, ports) for trace, _ in requests]
    n_rows = np.array([len(rows) for rows, _ in templates], dtype=np.intp)
    n_points = np.array([np.size(at) for _, at in requests], dtype=np.intp)
    flat = np.concatenate([rows for rows, _ in templates])
    grid = np.concatenate([at for _, at in requests])
    # Per point: its request, where its entries begin, its rows of `flat`.
    request = np.repeat(np.arange(n_rows.size), n_points)
    sizes = n_rows[request]
    start = np.cumsum(sizes) - sizes
    point = np.repeat(np.arange(request.size), sizes)
    first_row = (np.cumsum(n_rows) - n_rows)[request]
    row = np.repeat(first_row - start, sizes) + np.arange(point.size)
    out, into, group, either, relation, sign = flat[row].T
    frequency = grid.astype(np.intp)[point]
    timed_of = np.array([trace.parameter in _TIMED for trace, _ in requests], dtype=bool)
    out, into, wave, legs = _larger_way(s, mode_table(ports), frequency, out, into, either.astype(bool))
    timed = timed_of[request]
    weight = _weights(wave, 2 * point + group, timed[point], frequency_hz[frequency]) * sign
    counts = np.array([signals for _, signals in templates], dtype=np.intp)
    reference = (sign < 0) & ~timed[point] & (np.abs(wave) < _FAINT)
    faint = np.zeros(request.size, dtype=bool)
    faint[point[reference]] = True
    return Entries(
        point,
        frequency,
        out,
        into,
        relation,
        weight,
        start,
        np.where(timed, 1, counts[request]),
        timed,
        faint,
        either.astype(bool),
        legs,
        request[point],
        tuple(trace.parameter for trace, _ in requests),
    )


def _waves(s: Complex, table: ModeTable, frequency: Index, out: Index, into: Index) -> tuple[Complex, Real]:
    """Return the S-parameters between modes, and the sum of the squares of what they are made of."""
    total, squares = np.zeros(frequency.size, dtype=np.complex128), np.zeros(frequency.size)
    for row in range(1 if table.of_modes else 2):
        for column in range(1 if table.of_modes else 2):
            part = table.parts[row][out] * table.parts[column][into]
            wave = part * s[frequency, table.places[row][out], table.places[column][into]]
            total += wave
            squares += wave.real**2 + wave.imag**2
    return total, squares


def _larger_way(
    s: Complex, table: ModeTable, frequency: Index, out: Index, into: Index, either: NDArray[np.bool_]
) -> tuple[Index, Index, Complex, Real]:
    """Take the larger of the two directions where `either` allows it; see `_waves`."""
    wave, squares = _waves(s, table, frequency, out, into)
    chosen = np.flatnonzero(either)
    back, squares_back = _waves(s, table, frequency[chosen], into[chosen], out[chosen])
    turned = np.abs(back) > np.abs(wave[chosen])
    at = chosen[turned]
    out, into = out.copy(), into.copy()
    out[at], into[at] = into[at], out[at]
    wave[at], squares[at] = back[turned], squares_back[turned]
    return out, into, wave, squares


def _weights(wave: Complex, group: Index, timed: NDArray[np.bool_], frequency_hz: Real) -> Complex:
    """Return d ln of the root of the summed power, or d delay in ns, by each entry."""
    wave = np.where(np.abs(wave) < _SMALLEST, _SMALLEST, wave)
    power = np.bincount(group, weights=np.abs(wave) ** 2)[group]
    weight = np.conj(wave) / power
    if timed.any():
        real = np.bincount(group, weights=wave.real)[group]
        imaginary = np.bincount(group, weights=wave.imag)[group]
        both = real + 1j * imaginary
        both = np.where(np.abs(both) < _SMALLEST, _SMALLEST, both)
        # delay = -arg(sum) / omega, so d delay = -Im(E / sum) / omega = Re(1j E / sum) / omega.
        weight = np.where(timed, 1j * _NS / (2.0 * np.pi * frequency_hz * both), weight)
    return np.asarray(weight, dtype=np.complex128)
