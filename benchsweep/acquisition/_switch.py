"""Whatever makes a hookup, and the simulated bench that does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from benchsweep.errors import AcquisitionError
from benchsweep.records import Hookup

if TYPE_CHECKING:
    from benchsweep.instrument import Link

__all__ = ["Again", "Back", "Done", "Move", "SimulatedSwitch", "Switch"]


@dataclass(frozen=True, slots=True)
class Done:
    """The connections stand: sweep."""


@dataclass(frozen=True, slots=True)
class Again:
    """The hookup that was swept last is wanted once more, before this one."""


@dataclass(frozen=True, slots=True)
class Back:
    """An earlier hookup is wanted once more, before this one."""

    number: int


Move = Done | Again | Back
"""What becomes of a hookup that was asked for."""


class Switch(Protocol):
    """Whatever makes the connections of a hookup."""

    def connect(self, hookup: Hookup, *, total: int) -> Move:
        """Make the connections of one of `total` hookups; return when they stand, or when others are wanted.

        A person who stops raises `KeyboardInterrupt`.
        """

    def restore(self, hookup: Hookup) -> None:
        """Make the connections of `hookup` stand after a link was lost, asking nobody."""

    def confirm(self, hookup: Hookup) -> None:
        """Raise unless the connections of `hookup` still stand, as far as that can be asked."""

    def finished(self, *, total: int) -> Move:
        """Say whether the run may end, now that all hookups are swept."""


class SimulatedSwitch:
    """The simulated bench, told over the link to its analyzer.

    Parameters
    ----------
    link
        Gives the present link to the simulated analyzer, each time it is needed.
    """

    def __init__(self, link: Callable[[], Link]) -> None:
        self._link = link
        self._terminators = False

    def connect(self, hookup: Hookup, *, total: int) -> Done:
        """Make the connections and check that the bench has them.

        Raises
        ------
        ScpiError
            The bench refuses.
        AcquisitionError
            The bench says it has other connections.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        self._make(hookup, f"connecting hookup {hookup.number} of {total} on the simulated bench")
        return Done()

    def restore(self, hookup: Hookup) -> None:
        """Make the connections again. Raises as `connect`."""
        self._make(hookup, f"connecting hookup {hookup.number} again on the simulated bench")

    def confirm(self, hookup: Hookup) -> None:
        """Check that the bench still has the connections.

        Raises
        ------
        AcquisitionError
            It has others.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        answer = self._link().query("BENCh:CONNect?").strip('"')
        if _parse_connections(answer) != dict(hookup.connections):
            raise AcquisitionError(
                f"hookup {hookup.number}: the simulated bench has {answer!r} connected, "
                f"asked for {_spell(hookup)!r}",
                hint="Is somebody else using the same bench?",
            )

    def finished(self, *, total: int) -> Done:
        """Return at once: nobody is there to want more."""
        return Done()

    def insert(self, specimen: str) -> None:
        """Exchange the specimen; takes effect with the next sweep.

        Parameters
        ----------
        specimen
            Name of a shipped specimen, or path of a description or Touchstone file, as the bench sees it.

        Raises
        ------
        ScpiError
            The bench cannot use it.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        doubled = specimen.replace('"', '""')
        self._link().write_checked(f'BENCh:SPECimen "{doubled}"', doing=f"inserting specimen {specimen}")

    def _make(self, hookup: Hookup, doing: str) -> None:
        if hookup.terminations or self._terminators:
            named = ",".join(f"{port}={name}" for port, name in hookup.terminations.items())
            self._link().write_checked(f'BENCh:TERMinate "{named}"', doing=doing)
            self._terminators = bool(named)
        self._link().write_checked(f'BENCh:CONNect "{_spell(hookup)}"', doing=doing)
        self.confirm(hookup)


def _spell(hookup: Hookup) -> str:
    return ",".join(f"{port}={target}" for port, target in hookup.connections.items())


def _parse_connections(text: str) -> dict[int, str]:
    found = {}
    for part in text.split(","):
        port, equals, target = part.strip().partition("=")
        if equals and port.strip().isdigit():
            found[int(port)] = target.strip()
    return found
