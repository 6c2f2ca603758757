"""Groups of commands and ways to answer that several command families have.

A command is here when two families spell it alike. `_settings` makes a row of a table from a setting,
`_parameters` reads and writes the names of S-parameters, `_readings` lays out data; the others are tables.
"""

from benchsweep.simulator.families.shared._corrections import (
    CORRECTION_COMMANDS,
    EXTENSION_COMMANDS,
    FIXTURE_COMMANDS,
    extension_time,
)
from benchsweep.simulator.families.shared._formats import (
    BYTE_ORDER_COMMANDS,
    LENGTH_FORMAT_COMMANDS,
    WORD_FORMAT_COMMANDS,
)
from benchsweep.simulator.families.shared._names import channels_in_use, delete, named, select
from benchsweep.simulator.families.shared._parameters import (
    measured_text,
    parameter_text,
    parse_measured,
    parse_parameter,
    parse_ports,
)
from benchsweep.simulator.families.shared._readings import decibels, interleaved, reading, trace
from benchsweep.simulator.families.shared._segments import SEGMENT_COMMANDS, SEGMENT_LIST_COMMANDS
from benchsweep.simulator.families.shared._settings import (
    attribute,
    channel_of,
    device_attribute,
    set_continuous,
    setting,
)
from benchsweep.simulator.families.shared._stimulus import stimulus_commands
from benchsweep.simulator.families.shared._sweep_mode import SWEEP_MODE_COMMANDS
from benchsweep.simulator.families.shared._traces import TRACE_COMMANDS, complex_data, formatted_data

__all__ = [
    "BYTE_ORDER_COMMANDS",
    "CORRECTION_COMMANDS",
    "EXTENSION_COMMANDS",
    "FIXTURE_COMMANDS",
    "LENGTH_FORMAT_COMMANDS",
    "SEGMENT_COMMANDS",
    "SEGMENT_LIST_COMMANDS",
    "SWEEP_MODE_COMMANDS",
    "TRACE_COMMANDS",
    "WORD_FORMAT_COMMANDS",
    "attribute",
    "channel_of",
    "channels_in_use",
    "complex_data",
    "decibels",
    "delete",
    "device_attribute",
    "extension_time",
    "formatted_data",
    "interleaved",
    "measured_text",
    "named",
    "parameter_text",
    "parse_measured",
    "parse_parameter",
    "parse_ports",
    "reading",
    "select",
    "set_continuous",
    "setting",
    "stimulus_commands",
    "trace",
]
