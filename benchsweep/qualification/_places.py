"""Where balanced ports of a specimen can be attached at a bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchsweep.acquisition import make_bundle_plan, make_plan
from benchsweep.fixture import Fixture
from benchsweep.records import BalancedPort, Plan

__all__ = ["Places"]


@dataclass(frozen=True, slots=True)
class Places:
    """The places of a fixture that an analyzer reaches.

    Parameters
    ----------
    slots
        Analyzer ports of each: positive leg, negative leg; behind a balun the differential port and, where it
        has a tap, the common-mode port.
    baluns
        The places are baluns.
    terminators
        Names of the terminators that balanced ports sit on while they are not attached; may be empty.
    """

    slots: tuple[tuple[int, ...], ...]
    baluns: bool = False
    terminators: tuple[str, ...] = ()

    @classmethod
    def of(cls, definition: Fixture, analyzer_ports: int) -> Places:
        """Return the places of `definition` that an analyzer with so many ports reaches."""
        return cls(
            definition.slots(analyzer_ports),
            definition.kind == "baluns",
            tuple(item.name for item in definition.terminator),
        )

    @property
    def ports(self) -> tuple[int, ...]:
        """The analyzer ports in use, rising."""
        return tuple(sorted(port for slot in self.slots for port in slot))

    @property
    def taps(self) -> dict[int, int]:
        """Differential port -> common-mode port, for baluns with a tap."""
        return {slot[0]: slot[1] for slot in self.slots if self.baluns and len(slot) > 1}

    def plan(self, wanted: Sequence[BalancedPort]) -> Plan:
        """Return the hookups during which every two of the `wanted` ports are attached at once.

        Raises
        ------
        HookupImpossible, UsageError
            See `make_plan`.
        """
        return make_plan(self.slots, wanted, baluns=self.baluns, terminators=self.terminators)

    def bundle_plan(self, disturbing: int) -> Plan:
        """Return the hookups of a cable by itself, then with each of so many cables that disturb it.

        Raises
        ------
        HookupImpossible, UsageError
            See `make_bundle_plan`.
        """
        return make_bundle_plan(self.slots, disturbing, baluns=self.baluns, terminators=self.terminators)
