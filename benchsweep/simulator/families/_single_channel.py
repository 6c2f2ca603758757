"""The command family ``single-channel``: two ports, one channel, traces by number.

It has the verbs of ``numbered-trace`` for its one channel, and less of everything: no sweep but the linear
one, no frequency axis to read, no port extension, no byte order to set (big-endian always), few IF
bandwidths, no trigger that stands for several sweeps: an average of N takes N times ``INITiate``. It sweeps
by the usual polarity, with continuous off. While it sweeps continuously ``*OPC?`` is not answered.

Spellings from public driver code; that ``*OPC?`` waits, and what a trace beyond the count gives, from memory.
"""

from __future__ import annotations

from benchsweep.simulator.analyzer import CommandTable, Instrument
from benchsweep.simulator.families.shared import (
    CORRECTION_COMMANDS,
    TRACE_COMMANDS,
    channel_of,
    complex_data,
    device_attribute,
    formatted_data,
    set_continuous,
    setting,
    stimulus_commands,
)
from benchsweep.simulator.scpi import Boolean, Call, Choice, Command, ScpiFault

__all__ = ["SINGLE_CHANNEL_COMMANDS"]

_Call = Call[Instrument]
_BOOLEAN: Boolean[Instrument] = Boolean()


def _initiate(call: _Call) -> None:
    device = call.device
    if channel_of(call).mode == "CONT":
        raise ScpiFault(-213, "continuous")
    device.start_sweeps({call.suffixes["channel"]: 1}, waits=device.trigger_source != "INT")


SINGLE_CHANNEL_COMMANDS: CommandTable = (
    *stimulus_commands(sweep_types=()),
    setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: channel_of(call).mode == "CONT",
        set_continuous,
    ),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    device_attribute("TRIGger[:SEQuence]:SOURce", Choice("INTernal", "EXTernal", "MANual"), "trigger_source"),
    *TRACE_COMMANDS,
    Command("CALCulate{channel}:DATA:SDATa", query=complex_data),
    Command("CALCulate{channel}:DATA:FDATa", query=formatted_data),
    device_attribute("DISPlay:ENABle", _BOOLEAN, "display"),
    *CORRECTION_COMMANDS,
)
