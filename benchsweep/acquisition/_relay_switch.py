"""A relay matrix as the switch."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import Protocol

from benchsweep.acquisition._person import PersonSwitch
from benchsweep.acquisition._routes import RelayRoutes, is_standard
from benchsweep.acquisition._switch import Done, Move
from benchsweep.errors import BenchsweepError, InstrumentError, SwitchError
from benchsweep.records import Hookup

__all__ = ["Matrix", "RelaySwitch"]

_MOST_NAMED = 8
_NOTHING_SWEPT = "With this hookup nothing was swept; what was swept before is kept."


class Matrix(Protocol):
    """What is needed of a relay matrix; see `instrument.RelayMatrix`."""

    idn: str

    def open_all(self) -> None:
        """Open every relay."""

    def closed(self, channels: Sequence[str]) -> dict[str, bool]:
        """Ask which channels are closed."""

    def set_closed(self, channels: Sequence[str], *, among: Sequence[str], settle_s: float) -> None:
        """Open the others of `among`, close `channels`, settle, read every one back."""

    def disconnect(self) -> None:
        """Close the link."""


class RelaySwitch:
    """A relay matrix that makes the hookups, on a link of its own.

    Parameters
    ----------
    open_matrix
        Opens the link to the matrix.
    routes
        Which channels join what.
    ports
        The analyzer ports behind the matrix.
    settle_s
        How long contacts settle.
    standards
        The person who places calibration standards; None: they are wired to the matrix.
    places
        Analyzer port -> the leg to which the matrix leads it while a person places standards there.
    """

    def __init__(
        self,
        open_matrix: Callable[[], Matrix],
        routes: RelayRoutes,
        *,
        ports: Sequence[int],
        settle_s: float,
        standards: PersonSwitch | None = None,
        places: Mapping[int, str] | None = None,
    ) -> None:
        self._open_matrix = open_matrix
        self._routes = routes
        self._ports = tuple(ports)
        self._every = routes.every(ports)
        self._settle_s = settle_s
        self._standards = standards
        self._places = dict(places or {})
        self._matrix: Matrix | None = None
        self._idn: str | None = None
        self._by_hand = False

    @property
    def idn(self) -> str:
        """What the matrix answered to ``*IDN?``; opens the link when it is not open."""
        return self._opened().idn

    def connect(self, hookup: Hookup, *, total: int) -> Move:
        """Open what is not wanted, close what is, and check that every relay stands so.

        Raises
        ------
        SwitchError
            A relay does not stand as told, or another matrix answers than before.
        DefinitionError
            There is no way for a connection.
        ScpiError, LinkLost, InstrumentTimeout, BadAnswer
        """
        by_hand = self._needs_hands(hookup)
        if self._by_hand and not by_hand and self._standards is not None:
            self._standards.tell("Take every standard off, and put the specimen in its place.")
        self._by_hand = by_hand
        self._stand(hookup)
        if by_hand and self._standards is not None:
            return self._standards.connect(hookup, total=total)
        return Done()

    def restore(self, hookup: Hookup) -> None:
        """Open the link again where it was lost, and make the connections again. Raises as `connect`."""
        self._stand(hookup)

    def confirm(self, hookup: Hookup) -> None:
        """Check that every relay still stands as told, now that the sweep is over.

        Raises
        ------
        SwitchError
            It does not: the sweep cannot be trusted.
        ScpiError, LinkLost, InstrumentTimeout, BadAnswer
        """
        wanted = set(self._wanted(hookup))
        if self._matrix is None:
            raise SwitchError(
                f"hookup {hookup.number}: the link to the relay matrix is closed",
                hint="Start the measurement again.",
            )
        try:
            found = self._matrix.closed(self._every)
        except InstrumentError as error:
            self._let_go_after(error)
            raise
        wrong = [channel for channel, closed in found.items() if closed != (channel in wanted)]
        if wrong:
            raise SwitchError(
                f"hookup {hookup.number}{self._ways(wrong)}: relay {_named(wrong)} moved while the analyzer "
                "swept",
                channels=tuple(wrong),
                hint="The sweep was not kept. Has the matrix lost its power, or does another program use it?",
            )

    def finished(self, *, total: int) -> Move:
        """Ask the person who placed standards, if one did; else return at once."""
        if self._by_hand and self._standards is not None:
            return self._standards.finished(total=total)
        return Done()

    def close(self) -> None:
        """Close the link; the relays stay as they are."""
        if self._matrix is not None:
            matrix, self._matrix = self._matrix, None
            with suppress(BenchsweepError):
                matrix.disconnect()

    def _needs_hands(self, hookup: Hookup) -> bool:
        return self._standards is not None and any(map(is_standard, hookup.connections.values()))

    def _wanted(self, hookup: Hookup) -> tuple[str, ...]:
        connections = hookup.connections
        if self._needs_hands(hookup):
            connections = {port: self._places[port] for port in connections}
        return self._routes.closed(connections)

    def _stand(self, hookup: Hookup) -> None:
        wanted = self._wanted(hookup)
        matrix = self._opened()
        try:
            matrix.set_closed(wanted, among=self._every, settle_s=self._settle_s)
        except SwitchError as error:
            named = SwitchError(
                f"hookup {hookup.number}{self._ways(error.channels)}: {error.message}",
                channels=error.channels,
                hint=f"{error.hint} {_NOTHING_SWEPT}",
            )
            named.messages = error.messages
            raise named from error
        except InstrumentError as error:
            self._let_go_after(error)
            raise

    def _ways(self, channels: Sequence[str]) -> str:
        """Return which ways the channels belong to, in brackets; empty when that is not known."""
        ways = self._routes.ways(channels, self._ports)
        return f" ({_named(ways)})" if ways else ""

    def _opened(self) -> Matrix:
        if self._matrix is not None:
            return self._matrix
        matrix = self._open_matrix()
        try:
            if self._idn not in (None, matrix.idn):
                raise SwitchError(
                    f"the relay matrix was {self._idn!r}, now {matrix.idn!r} answers",
                    hint="Check the address of the switch, then start the measurement again.",
                )
            # Also relays that the map does not name: another program may have left them closed.
            matrix.open_all()
        except BaseException:
            with suppress(BenchsweepError):
                matrix.disconnect()
            raise
        self._idn, self._matrix = matrix.idn, matrix
        return matrix

    def _let_go_after(self, error: InstrumentError) -> None:
        # A fresh link is in step again, whatever was on its way on the old one.
        if error.passing:
            self.close()


def _named(things: Sequence[str]) -> str:
    more = len(things) - _MOST_NAMED
    return ", ".join(things[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
