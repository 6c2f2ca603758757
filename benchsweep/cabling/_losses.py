from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import FOUR_PAIRS, BalancedPort, End, Parameter, SMatrix, Trace

__all__ = [
    "ENDS",
    "ModeLosses",
    "Place",
    "Row",
    "Rows",
    "far_end",
    "frozen",
    "loss_of_power",
    "ratio",
    "trace_of",
    "traces_of",
]

Row = NDArray[np.float64]
Rows = NDArray[np.float64]
"""``(n, n_freq)``: as many rows as traces come of it."""

Place = tuple[End, str]
"""A balanced port of the specimen: its end and its pair."""

ENDS: tuple[End, End] = ("A", "B")
_KNOWN = tuple(BalancedPort(end, pair) for end in ENDS for pair in FOUR_PAIRS)


def far_end(end: End) -> End:
    """Return the other end."""
    return "B" if end == "A" else "A"


def loss_of_power(power: Rows) -> Rows:
    """Return -10 log10 of squared magnitudes in dB, read-only; zero gives ``+inf`` without a warning."""
    with np.errstate(divide="ignore"):
        loss = np.log10(power)
    loss *= -10.0
    return frozen(loss)


def ratio(loss_db: Rows, insertion_loss_db: Rows) -> Rows:
    """Return `loss_db` - `insertion_loss_db`: disturbance below the signal.

    Where both are infinite there is neither signal nor disturbance; that counts as ``-inf``, for a pair
    without a signal must not look good.
    """
    with np.errstate(invalid="ignore"):
        value = loss_db - insertion_loss_db
    if insertion_loss_db.max(initial=0.0) == np.inf:
        value[np.isposinf(insertion_loss_db)] = -np.inf
    return value


class ModeLosses:
    """The squared magnitudes and losses of a mixed-mode matrix, converted once for all parameters.

    Parameters
    ----------
    mixed
        Mixed-mode matrix with ports ``A:12/d`` … and, for the balance parameters, ``A:12/c`` ….
        Ports may be missing: what cannot be formed gives no trace.
    """

    def __init__(self, mixed: SMatrix) -> None:
        self.mixed = mixed
        self.frequency_hz = mixed.frequency_hz
        self._at = {label: index for index, label in enumerate(mixed.ports)}
        self._differential = [port for port in _KNOWN if f"{port}/d" in self._at]
        self._row = {(port.end, port.pair): row for row, port in enumerate(self._differential)}
        self._pairs = {
            end: tuple(port.pair for port in self._differential if port.end == end) for end in ENDS
        }

    @classmethod
    def of(cls, mixed: SMatrix | ModeLosses) -> ModeLosses:
        """Return the losses of `mixed`, or `mixed` itself when it is that already."""
        return mixed if isinstance(mixed, ModeLosses) else cls(mixed)

    @cached_property
    def _power(self) -> NDArray[np.float64]:
        index = [self._at[f"{port}/d"] for port in self._differential]
        s = self.mixed.s.transpose(1, 2, 0)
        if index == list(range(len(index))):  # as `to_mixed_mode` orders them: no copies
            s = s[: len(index), : len(index)]
        else:
            s = s[index][:, index]
        return s.real**2 + s.imag**2

    @cached_property
    def _loss(self) -> NDArray[np.float64]:
        return loss_of_power(self._power)

    def pairs(self, end: End) -> tuple[str, ...]:
        """Return the pairs whose differential port at `end` was measured, in the usual order."""
        return self._pairs[end]

    def pairs_at_both_ends(self) -> tuple[str, ...]:
        """Return the pairs measured at both ends."""
        return tuple(pair for pair in self._pairs["A"] if pair in self._pairs["B"])

    def power(self, out: BalancedPort, into: BalancedPort) -> Row:
        """Return ``(n_freq,)`` |S|², differential wave out of `out` over differential wave into `into`."""
        return np.asarray(self._power[self._row[out.end, out.pair], self._row[into.end, into.pair]])

    def powers(self, entries: Sequence[tuple[Place, Place]]) -> Rows:
        """Return ``(n, n_freq)`` |S|² between differential ports, out and into as (end, pair)."""
        out, into = [self._row[out] for out, _ in entries], [self._row[into] for _, into in entries]
        return np.asarray(self._power[out, into])

    def loss(self, out: BalancedPort, into: BalancedPort) -> Row:
        """Return ``(n_freq,)`` -20 log10 |S| in dB, differential to differential."""
        return np.asarray(self._loss[self._row[out.end, out.pair], self._row[into.end, into.pair]])

    def conversion_powers(self, entries: Sequence[tuple[Place, Place]]) -> tuple[list[int], Rows]:
        """Return ``(n, n_freq)`` |S|², differential wave in, common wave out; and which entries these are.

        Those whose common-mode port was not measured are left out.
        """
        there, outs, intos = [], [], []
        for number, (out, into) in enumerate(entries):
            row, column = self._at.get(f"{out[0]}:{out[1]}/c"), self._at.get(f"{into[0]}:{into[1]}/d")
            if row is not None and column is not None:
                there.append(number)
                outs.append(row)
                intos.append(column)
        s = self.mixed.s.transpose(1, 2, 0)[outs, intos]
        return there, np.asarray(s.real**2 + s.imag**2)

    def through(self, end: End, pair: str) -> Row:
        """Return the insertion loss of `pair` with the receiver at `end`, in dB."""
        return self._through[end, pair]

    @cached_property
    def _through(self) -> dict[Place, Row]:
        keys: list[Place] = [(end, pair) for end in ENDS for pair in self.pairs_at_both_ends()]
        rows = loss_of_power(self.powers([((end, pair), (far_end(end), pair)) for end, pair in keys]))
        return dict(zip(keys, rows, strict=True))

    @cached_property
    def near_power(self) -> dict[tuple[End, str, str], Row]:
        """The larger |S|² of the two directions between two pairs at one end, the first before the second."""
        keys = [(end, p, q) for end in ENDS for p, q in combinations(self._pairs[end], 2)]
        one = self.powers([((end, p), (end, q)) for end, p, q in keys])
        other = self.powers([((end, q), (end, p)) for end, p, q in keys])
        return dict(zip(keys, frozen(np.maximum(one, other)), strict=True))

    @cached_property
    def near_loss(self) -> dict[tuple[End, str, str], Row]:
        """The same as losses in dB."""
        return _as_losses(self.near_power)

    @cached_property
    def far_power(self) -> dict[tuple[End, str, str], Row]:
        """|S|² by receiving end, disturbed pair there, disturbing pair at the other end."""
        keys = [(end, i, j) for end in ENDS for i, j in self._far_combinations(end)]
        rows = self.powers([((end, i), (far_end(end), j)) for end, i, j in keys])
        return dict(zip(keys, frozen(rows), strict=True))

    @cached_property
    def far_loss(self) -> dict[tuple[End, str, str], Row]:
        """The same as losses in dB."""
        return _as_losses(self.far_power)

    def _far_combinations(self, end: End) -> list[tuple[str, str]]:
        senders, receivers = self._pairs[far_end(end)], self._pairs[end]
        every = tuple(dict.fromkeys((*receivers, *senders)))
        return [(i, j) for i, j in permutations(every, 2) if i in receivers and j in senders]


def _as_losses(powers: dict[tuple[End, str, str], Row]) -> dict[tuple[End, str, str], Row]:
    if not powers:
        return {}
    return dict(zip(powers, loss_of_power(np.array(list(powers.values()))), strict=True))


def frozen(rows: Rows) -> Rows:
    """Make an array of one's own read-only, so that traces need no copy of it; return it."""
    rows.flags.writeable = False
    return rows


def traces_of(
    parameter: Parameter, keys: Sequence[tuple[End | None, tuple[str, ...]]], frequency_hz: Row, values: Rows
) -> tuple[Trace, ...]:
    """Return one trace for each row of `values`, which is made read-only."""
    frozen(values)
    return tuple(
        trace_of(parameter, end, pairs, frequency_hz, value)
        for (end, pairs), value in zip(keys, values, strict=True)
    )


def trace_of(
    parameter: Parameter, end: End | None, pairs: tuple[str, ...], frequency_hz: Row, value: Row
) -> Trace:
    """Return the trace; one short name for the one constructor that all parameter modules call."""
    return Trace(parameter=parameter, end=end, pairs=pairs, frequency_hz=frequency_hz, value=value)
