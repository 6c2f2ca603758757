"""The command families that the simulated analyzer can speak."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchsweep.simulator._formats import BYTE_ORDER_COMMANDS, LENGTH_FORMAT_COMMANDS
from benchsweep.simulator._instrument import CommandTable
from benchsweep.simulator._named_measurement import NAMED_MEASUREMENT_COMMANDS
from benchsweep.simulator._style import FamilyStyle

__all__ = ["FAMILIES", "SimulatedFamily"]


@dataclass(frozen=True, slots=True)
class SimulatedFamily:
    """A command family of the simulated analyzer.

    Parameters
    ----------
    tables
        Its commands besides those that all families have.
    ports
        Numbers of analyzer ports that it exists with.
    style
        What it changes outside its commands.
    """

    tables: tuple[CommandTable, ...]
    ports: tuple[int, ...]
    style: FamilyStyle


FAMILIES: Mapping[str, SimulatedFamily] = {
    "named-measurement": SimulatedFamily(
        (NAMED_MEASUREMENT_COMMANDS, LENGTH_FORMAT_COMMANDS, BYTE_ORDER_COMMANDS),
        (2, 4, 8, 16),
        FamilyStyle(),
    ),
}
