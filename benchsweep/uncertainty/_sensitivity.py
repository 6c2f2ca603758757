"""What a unit of each residual error does to each requested value.

To first order the corrected matrix is off by (S the matrix, e_k the k-th unit vector)

    directivity           E_kk = D_k
    reflection tracking   E_kk = R_k S_kk
    source match          E_ij = S_ij M_j S_jj                      (the driven port, k = j)
    load match            E_ij = sum of S_ik L_k S_kj over k != j
    transm. tracking      E_ij = (t_i + t_j) S_ij,  i != j
    series contact        E = (I - S) e_k d_k e_k^T (I - S),  d = z / 100 ohm
    balun, modes d and c  E = e_d b e_c^T S + S e_c b e_d^T  and alike (`_balance`)

With a value that changes by ``Re sum w m^T E m'`` (m, m' the modes of its entries) and ``P = m^T S``,
``Q = S m'`` every one of these is a product of gathered rows: the base sensitivities below. A contact is
D - 2R - T + source + load match, a cable that changes 2R + T.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import ModePort, balanced_ports_among
from benchsweep.uncertainty._entries import Entries
from benchsweep.uncertainty._layout import Layout
from benchsweep.uncertainty._modes import ModeTable
from benchsweep.uncertainty._variables import BASES, Space

__all__ = ["Rows", "base_sensitivities", "expand_rows"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]

_ROOT_HALF = 0.5**0.5


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Entries once for each hookup that measured them: entry, hookup, weight by the number of hookups."""

    entry: Index
    hookup: Index
    weight: Complex


def expand_rows(entries: Entries, table: ModeTable, layout: Layout) -> Rows:
    """Return the rows, hookup by hookup and in each in the order of the entries."""
    n = entries.point.size
    if layout.plain:
        return Rows(np.arange(n), np.zeros(n, dtype=np.intp), entries.weight)
    held = (table.vectors != 0.0) @ (~layout.attached.T)  # (n_mode, n_hookup): a port that was not attached
    both = ~held[entries.out] & ~held[entries.into]
    count = both.sum(axis=1)
    hookup, entry = np.nonzero(both.T)
    return Rows(entry, hookup, entries.weight[entry] / count[entry])


def base_sensitivities(
    s: Complex,
    table: ModeTable,
    ports: tuple[str, ...],
    entries: Entries,
    layout: Layout,
    balance: Mapping[str, tuple[Real, Real]],
) -> dict[Space, Complex]:
    """Return, space by space, ``(n_point, n_base, n_variable)`` sensitivities.

    Parameters
    ----------
    balance
        Balanced port -> output signal balance and common-mode rejection, ``(n_freq,)`` amplitudes.
    """
    rows = expand_rows(entries, table, layout)
    n_point = entries.start.size
    pieces = _Pieces(s, table, ports)
    if layout.plain:
        p, q, mp, mq = pieces.of(entries, rows, slice(None))
        bases = _sum(_five(pieces, entries, rows.entry, rows.weight, p, q, mp, mq), entries.start)
        found: dict[Space, Complex] = {"analyzer": bases, "mating": bases}
        legs: list[_Leg] = [(0, slice(None), entries.start, rows.weight, p, q, mp, mq)]
        if table.of_modes:
            contact = _leg_contact(pieces, rows.weight, p, q, mp, mq)
            found["leg"] = _sum(contact[:, None, :], entries.start)
    else:
        found, legs = _by_hookup(pieces, table, entries, layout, rows, n_point)
    found["common"] = found["analyzer"].sum(axis=2, keepdims=True)
    if table.of_modes and balance:
        total = np.zeros((n_point, BASES["balance"], layout.n_analyzer), dtype=np.complex128)
        d = pieces.mode_places[:, 0]
        for hookup, chosen, start, weight, p, q, mp, mq in legs:
            frequency = entries.frequency[rows.entry[chosen]]
            parts = _sum(_balance(pieces, frequency, weight, p, q, mp, mq, balance), start)
            point = entries.point[rows.entry[chosen]][start]
            here = np.flatnonzero(layout.attached[hookup, d])
            for base in range(BASES["balance"]):
                total[point[:, None], base, layout.analyzer[hookup, d[here]]] += parts[:, base, here]
        found["balance"] = total
    return found


class _Pieces:
    """Gathers rows and columns of a matrix."""

    def __init__(self, s: Complex, table: ModeTable, ports: tuple[str, ...]) -> None:
        self.s, self.table = s, table
        self.balanced, self.mode_places = _balanced_of(ports)
        self._each = np.arange(s.shape[1])

    def diagonal(self, frequency: Index) -> Complex:
        """Return ``(n_row, n_port)``: what every port reflects."""
        return np.asarray(self.s[frequency[:, None], self._each, self._each])

    def of(
        self, entries: Entries, rows: Rows, chosen: slice | NDArray[np.bool_]
    ) -> tuple[Complex, Complex, Real, Real]:
        """Return P, Q, m, m', ``(n_row, n_port)`` each."""
        entry = rows.entry[chosen]
        frequency, out, into = entries.frequency[entry], entries.out[entry], entries.into[entry]
        p, q = self._row(frequency, out, 0), self._column(frequency, into, 0)
        if not self.table.of_modes:
            p += self._row(frequency, out, 1)
            q += self._column(frequency, into, 1)
        return p, q, self.table.vectors[out], self.table.vectors[into]

    def _row(self, frequency: Index, mode: Index, which: int) -> Complex:
        found = self.s[frequency, self.table.places[which][mode]]
        found *= self.table.parts[which][mode][:, None]
        return np.asarray(found)

    def _column(self, frequency: Index, mode: Index, which: int) -> Complex:
        found = self.s[frequency, :, self.table.places[which][mode]]
        found *= self.table.parts[which][mode][:, None]
        return np.asarray(found)


@lru_cache(maxsize=16)
def _balanced_of(ports: tuple[str, ...]) -> tuple[tuple[str, ...], Index]:
    """Return the balanced ports behind baluns, and ``(n_balanced, 2)`` where d and c of each stand, or -1."""
    found, places = [], []
    for port in balanced_ports_among(ports):
        both = [str(ModePort(port, "d")), str(ModePort(port, "c"))]
        if both[0] in ports:
            found.append(str(port))
            places.append([ports.index(label) if label in ports else -1 for label in both])
    return tuple(found), np.array(places, dtype=np.intp).reshape(-1, 2)


def _sum(rows: Complex, start: Index) -> Complex:
    """Sum rows that belong to one point; they stand together and begin at `start`."""
    if start.size == rows.shape[0]:
        return rows
    sizes = np.diff(start, append=rows.shape[0])
    total = rows[start]
    # Most points have one entry, few have more than four: faster than reduceat over long rows.
    for place in range(1, int(sizes.max(initial=0))):
        more = np.flatnonzero(sizes > place)
        total[more] += rows[start[more] + place]
    return total


def _five(
    pieces: _Pieces,
    entries: Entries,
    entry: Index,
    weight: Complex,
    p: Complex,
    q: Complex,
    mp: Real,
    mq: Real,
) -> Complex:
    found = np.empty((entry.size, 5, p.shape[1]), dtype=np.complex128)
    own = pieces.diagonal(entries.frequency[entry])
    wp = weight[:, None] * p
    wm = weight[:, None] * mp
    tail = wp * mq
    found[:, 0] = wm * mq
    found[:, 1] = found[:, 0] * own
    found[:, 2] = tail * own
    found[:, 3] = wp * q - found[:, 2]
    found[:, 4] = wm * q + tail - 2.0 * found[:, 1]
    return found


def _leg_contact(pieces: _Pieces, weight: Complex, p: Complex, q: Complex, mp: Real, mq: Real) -> Complex:
    """Return ``(n_row, n_leg)`` of a contact at each leg behind the baluns.

    A common mode that was not measured counts as absorbed.
    """
    left, right = mp - p, mq - q
    sides = []
    for part in (left, right):
        d, c = (
            np.where(at >= 0, part[:, at], 0.0) for at in (pieces.mode_places[:, 0], pieces.mode_places[:, 1])
        )
        sides.append(np.concatenate([d + c, d - c], axis=1) * _ROOT_HALF)
    return np.asarray(weight[:, None] * sides[0] * sides[1])


def _balance(
    pieces: _Pieces,
    frequency: Index,
    weight: Complex,
    p: Complex,
    q: Complex,
    mp: Real,
    mq: Real,
    balance: Mapping[str, tuple[Real, Real]],
) -> Complex:
    """Return ``(n_row, 4, n_balanced)``: what the baluns turn from one mode into the other.

    A balun is reciprocal, so that one variable stands for both directions: the port for the differential mode
    receives the common wave by the rejection and sends one by the output signal balance; the tap does the
    same with the differential wave; the balanced side reflects one mode into the other; and one port leaks
    into the other, whatever is attached.
    """
    found = np.zeros((weight.size, 4, len(pieces.balanced)), dtype=np.complex128)
    for k, label in enumerate(pieces.balanced):
        d, c = pieces.mode_places[k]
        if c < 0 or label not in balance:
            continue
        osb, cmr = (value[frequency] for value in balance[label])
        by_osb = weight * osb
        found[:, 0, k] = weight * cmr * mp[:, d] * q[:, c] + by_osb * p[:, c] * mq[:, d]
        found[:, 1, k] = by_osb * (mp[:, c] * q[:, d] + p[:, d] * mq[:, c])
        found[:, 2, k] = by_osb * (p[:, d] * q[:, c] + p[:, c] * q[:, d])
        found[:, 3, k] = by_osb * (mp[:, d] * mq[:, c] + mp[:, c] * mq[:, d])
    return found


_Leg = tuple[int, slice | NDArray[np.bool_], Index, Complex, Complex, Complex, Real, Real]


def _by_hookup(
    pieces: _Pieces, table: ModeTable, entries: Entries, layout: Layout, rows: Rows, n_point: int
) -> tuple[dict[Space, Complex], list[_Leg]]:
    """Sum what the hookups contribute: a variable that is the same in two hookups adds up as a wave."""
    n = layout.attached.shape[1]
    found: dict[Space, Complex] = {
        "analyzer": np.zeros((n_point, 5, layout.n_analyzer), dtype=np.complex128),
        "mating": np.zeros((n_point, 5, layout.n_matings), dtype=np.complex128),
        "termination": np.zeros((n_point, 1, n), dtype=np.complex128),
    }
    if table.of_modes:
        found["leg"] = np.zeros((n_point, 1, 2 * layout.n_matings), dtype=np.complex128)
    legs: list[_Leg] = []
    for hookup in range(layout.n_hookups):
        chosen = rows.hookup == hookup
        if not chosen.any():
            continue
        entry, weight = rows.entry[chosen], rows.weight[chosen]
        p, q, mp, mq = pieces.of(entries, rows, chosen)
        point = entries.point[entry]
        start = np.flatnonzero(np.diff(point, prepend=-1))
        at = point[start]
        on = layout.attached[hookup]
        bases = _sum(_five(pieces, entries, entry, weight, p, q, mp, mq), start)
        for space, group in (("analyzer", layout.analyzer), ("mating", layout.mating)):
            for base in range(5):
                found[space][at[:, None], base, group[hookup, on]] += bases[:, base, on]
        off = np.flatnonzero(~on)
        found["termination"][at[:, None], 0, off] += (bases[:, 2] + bases[:, 3])[:, off]
        if table.of_modes:
            contact = _sum(_leg_contact(pieces, weight, p, q, mp, mq), start)
            d = pieces.mode_places[:, 0]
            here = np.flatnonzero(on[d])
            mating = layout.mating[hookup, d[here]]
            found["leg"][at[:, None], 0, mating] += contact[:, here]
            found["leg"][at[:, None], 0, mating + layout.n_matings] += contact[:, here + d.size]
        legs.append((hookup, chosen, start, weight, p, q, mp, mq))
    return found, legs
