"""The command families that the simulated analyzer can speak, and the traps that are switched on in each.

All of them answer big-endian data until told otherwise, come out of a preset with the analyzer's own
correction on (and the port extension where they have one), round the IF bandwidth to what they have, answer
character data in its short form and invalid points as 9.91e37. What differs stands here and in the modules of
the families.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchsweep.simulator.analyzer import CommandTable, FamilyStyle
from benchsweep.simulator.families._named_measurement import NAMED_MEASUREMENT_COMMANDS
from benchsweep.simulator.families._numbered_measurement import NUMBERED_MEASUREMENT_COMMANDS
from benchsweep.simulator.families._numbered_trace import NUMBERED_TRACE_COMMANDS
from benchsweep.simulator.families._quoted_parameter import QUOTED_PARAMETER_COMMANDS
from benchsweep.simulator.families._sense_function import SENSE_FUNCTION_COMMANDS
from benchsweep.simulator.families._single_channel import SINGLE_CHANNEL_COMMANDS
from benchsweep.simulator.families.shared import (
    BYTE_ORDER_COMMANDS,
    LENGTH_FORMAT_COMMANDS,
    WORD_FORMAT_COMMANDS,
)

__all__ = ["FAMILIES", "SimulatedFamily"]

_ALL_PORTS = (2, 4, 8, 16)
_EXTENSION_S = 20e-12


@dataclass(frozen=True, slots=True)
class SimulatedFamily:
    """A command family of the simulated analyzer.

    Parameters
    ----------
    tables
        Its commands besides those that all families have. A header that both know is the family's.
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
        _ALL_PORTS,
        FamilyStyle(extension_s=_EXTENSION_S, first_segments=1, segments_start_on=False),
    ),
    "numbered-measurement": SimulatedFamily(
        (NUMBERED_MEASUREMENT_COMMANDS, LENGTH_FORMAT_COMMANDS, BYTE_ORDER_COMMANDS),
        _ALL_PORTS,
        FamilyStyle(
            first_measurement="1",
            extension_s=_EXTENSION_S,
            first_segments=1,
            segments_start_on=False,
        ),
    ),
    "quoted-parameter": SimulatedFamily(
        (QUOTED_PARAMETER_COMMANDS, LENGTH_FORMAT_COMMANDS, BYTE_ORDER_COMMANDS),
        _ALL_PORTS,
        FamilyStyle(
            plus_signs=False,
            first_measurement="Trc1",
            selects_first=True,
            completion="sweep-end",
            average_mode="AUTO",
            extension_s=_EXTENSION_S,
            segment_bandwidths=True,
            sweep_time_knows_segments=False,
        ),
    ),
    "numbered-trace": SimulatedFamily(
        (NUMBERED_TRACE_COMMANDS, WORD_FORMAT_COMMANDS, BYTE_ORDER_COMMANDS),
        _ALL_PORTS,
        FamilyStyle(
            identity_separator=", ",
            channels=16,
            first_measurement="1",
            selects_first=True,
            trigger_source="INT",
            extension_s=_EXTENSION_S,
        ),
    ),
    "single-channel": SimulatedFamily(
        (SINGLE_CHANNEL_COMMANDS, LENGTH_FORMAT_COMMANDS),
        (2,),
        FamilyStyle(
            plus_signs=False,
            channels=1,
            first_measurement="1",
            selects_first=True,
            completion="never",
            trigger_source="INT",
            if_bandwidths_hz=(10, 30, 100, 300, 1e3, 3e3, 10e3, 30e3),
        ),
    ),
    "sense-function": SimulatedFamily(
        (SENSE_FUNCTION_COMMANDS, LENGTH_FORMAT_COMMANDS, BYTE_ORDER_COMMANDS),
        (2, 4),
        FamilyStyle(
            channels=2,
            first_measurement="XFR:S11",
            selects_first=True,
            continuous=False,
            completion="never",
        ),
    ),
}
