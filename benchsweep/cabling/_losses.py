from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import FOUR_PAIRS, BalancedPort, End, ModePort, Parameter, SMatrix, Trace

__all__ = ["ENDS", "ModeLosses", "far_end", "loss_of_power", "ratio", "trace_of"]

Row = NDArray[np.float64]

ENDS: tuple[End, End] = ("A", "B")


def far_end(end: End) -> End:
    """Return the other end."""
    return "B" if end == "A" else "A"


def loss_of_power(power: Row) -> Row:
    """Return -10 log10 of squared magnitudes in dB; zero gives ``+inf`` without a warning."""
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10(power), dtype=np.float64)


def ratio(loss_db: Row, insertion_loss_db: Row) -> Row:
    """Return `loss_db` - `insertion_loss_db`: disturbance below the signal.

    Where both are infinite there is neither signal nor disturbance; that counts as ``-inf``, for a pair
    without a signal must not look good.
    """
    with np.errstate(invalid="ignore"):
        value = loss_db - insertion_loss_db
    lost = np.isposinf(insertion_loss_db)
    if lost.any():
        value[lost] = -np.inf
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
        known = [BalancedPort(end, pair) for end in ENDS for pair in FOUR_PAIRS]
        self._differential = [port for port in known if str(ModePort(port, "d")) in self._at]
        self._row = {port: row for row, port in enumerate(self._differential)}

    @classmethod
    def of(cls, mixed: SMatrix | ModeLosses) -> ModeLosses:
        """Return the losses of `mixed`, or `mixed` itself when it is that already."""
        return mixed if isinstance(mixed, ModeLosses) else cls(mixed)

    @cached_property
    def _power(self) -> NDArray[np.float64]:
        index = [self._at[str(ModePort(port, "d"))] for port in self._differential]
        s = self.mixed.s[:, index][:, :, index].transpose(1, 2, 0)
        return np.ascontiguousarray(s.real) ** 2 + np.ascontiguousarray(s.imag) ** 2

    @cached_property
    def _loss(self) -> NDArray[np.float64]:
        return loss_of_power(self._power)

    def pairs(self, end: End) -> tuple[str, ...]:
        """Return the pairs whose differential port at `end` was measured, in the usual order."""
        return tuple(port.pair for port in self._differential if port.end == end)

    def pairs_at_both_ends(self) -> tuple[str, ...]:
        """Return the pairs measured at both ends."""
        return tuple(pair for pair in self.pairs("A") if pair in self.pairs("B"))

    def power(self, out: BalancedPort, into: BalancedPort) -> Row:
        """Return ``(n_freq,)`` |S|², differential wave out of `out` over differential wave into `into`."""
        return np.asarray(self._power[self._row[out], self._row[into]])

    def loss(self, out: BalancedPort, into: BalancedPort) -> Row:
        """Return ``(n_freq,)`` -20 log10 |S| in dB, differential to differential."""
        return np.asarray(self._loss[self._row[out], self._row[into]])

    def conversion_loss(self, out: BalancedPort, into: BalancedPort) -> Row | None:
        """Return ``(n_freq,)`` -20 log10 |S| in dB, differential wave in, common wave out.

        None when the common-mode port was not measured.
        """
        row, column = self._at.get(str(ModePort(out, "c"))), self._at.get(str(ModePort(into, "d")))
        if row is None or column is None:
            return None
        s = self.mixed.s[:, row, column]
        return loss_of_power(s.real**2 + s.imag**2)

    def through(self, end: End, pair: str) -> Row:
        """Return the insertion loss of `pair` with the receiver at `end`, in dB."""
        return self.loss(BalancedPort(end, pair), BalancedPort(far_end(end), pair))


def trace_of(
    parameter: Parameter, end: End | None, pairs: tuple[str, ...], frequency_hz: Row, value: Row
) -> Trace:
    """Return the trace; one short name for the one constructor that all parameter modules call."""
    return Trace(parameter=parameter, end=end, pairs=pairs, frequency_hz=frequency_hz, value=value)
