"""The command family ``numbered-trace``: a channel has a number of traces, and one of them is selected.

Data come from the selected trace, or by S-parameter without a trace; a port is driven only when a trace needs
it. There is no matrix in one answer.

Sweeping is the other way round than elsewhere: a channel whose continuous sweep is on waits for the trigger
of the source BUS, and ``TRIGger:SINGle`` gives it; with continuous off that trigger is ignored. ``*OPC?``
waits for ``TRIGger:SINGle`` only: sweeps begun by ``INITiate``, ``TRIGger`` or ``*TRG`` take their time and
nobody is told.

Spellings from public driver code. From memory: ``SENSe:DATA:RAWData``, names with an underscore above nine
ports (equal digit counts are understood too), the trigger's state machine, the padding of formatted data,
what a trace beyond the count gives.
"""

from __future__ import annotations

from benchsweep.simulator.analyzer import Channel, CommandTable, Instrument
from benchsweep.simulator.families.shared import (
    CORRECTION_COMMANDS,
    EXTENSION_COMMANDS,
    FIXTURE_COMMANDS,
    SEGMENT_LIST_COMMANDS,
    TRACE_COMMANDS,
    channel_of,
    complex_data,
    device_attribute,
    formatted_data,
    interleaved,
    parse_parameter,
    set_continuous,
    setting,
    stimulus_commands,
    trace,
)
from benchsweep.simulator.scpi import Answer, Boolean, Call, Choice, Command, Name, ScpiFault

__all__ = ["NUMBERED_TRACE_COMMANDS"]

_Call = Call[Instrument]


# -- sweeping ----------------------------------------------------------------------------------------------


def _sweeps(device: Instrument, channel: Channel) -> int:
    """Return how many sweeps one trigger stands for."""
    return channel.average_count if device.trigger_averages and channel.averaging else 1


def _start(device: Instrument, *, overlapped: bool) -> None:
    """Give a trigger to the channels that wait for one.

    Raises
    ------
    ScpiFault
        -211: none waits.
    """
    everyone = device.trigger_scope == "ALL"
    jobs = {
        number: _sweeps(device, channel)
        for number, channel in device.channels.items()
        if channel.mode == "CONT" and channel.driven and (everyone or number == device.active_channel)
    }
    if not jobs or device.trigger_source == "INT" or device.busy:
        raise ScpiFault(-211, "no channel waits for a trigger")
    device.start_sweeps(jobs, overlapped=overlapped)


def _trigger_single(call: _Call) -> None:
    if call.device.trigger_source != "BUS":
        raise ScpiFault(-211, f"source {call.device.trigger_source}")
    _start(call.device, overlapped=True)


def _trigger(call: _Call) -> None:
    if call.device.trigger_source not in ("BUS", "MAN"):
        raise ScpiFault(-211, f"source {call.device.trigger_source}")
    _start(call.device, overlapped=False)


def _initiate(call: _Call) -> None:
    """Sweep the holding channel once, with the internal source; nobody is told of its end."""
    if channel_of(call).mode == "CONT":
        raise ScpiFault(-213, "continuous")
    if call.device.trigger_source != "INT":
        raise ScpiFault(-221, "this needs the internal trigger source")
    call.device.start_sweeps({call.suffixes["channel"]: 1}, overlapped=False)


def _activate(call: _Call) -> None:
    call.device.active_channel = call.suffixes["channel"]


# -- data --------------------------------------------------------------------------------------------------


async def _corrected(call: _Call) -> Answer:
    """Answer one S-parameter as it would be shown, whether a trace shows it or not."""
    receiver, source = parse_parameter(call.arguments[0], call.device.bench.ports, underscore=True)
    channel = await call.device.fresh(channel_of(call))
    return call.device.data(interleaved(trace(channel, receiver, source)))


async def _uncorrected(call: _Call) -> Answer:
    """Answer one S-parameter without the analyzer's own correction and port extension."""
    receiver, source = parse_parameter(call.arguments[0], call.device.bench.ports, underscore=True)
    channel = await call.device.fresh(channel_of(call))
    return call.device.data(interleaved(trace(channel, receiver, source, raw=True)))


def _axis(call: _Call) -> Answer:
    return call.device.data(channel_of(call).frequency_hz)


def _in_use(call: _Call) -> list[int]:
    return [number for number, channel in call.device.channels.items() if channel.driven]


_BOOLEAN: Boolean[Instrument] = Boolean()
_SENSE = "[SENSe{channel}]"
_CALCULATE = "CALCulate{channel}"

_SWEEPING: CommandTable = (
    setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: channel_of(call).mode == "CONT",
        set_continuous,
    ),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    device_attribute(
        "TRIGger[:SEQuence]:SOURce", Choice("INTernal", "EXTernal", "MANual", "BUS"), "trigger_source"
    ),
    Command("TRIGger[:SEQuence]:SINGle", _trigger_single),
    Command("TRIGger[:SEQuence][:IMMediate]", _trigger),
    Command("*TRG", _trigger),
    device_attribute("TRIGger[:SEQuence]:AVERage", _BOOLEAN, "trigger_averages"),
    device_attribute("TRIGger[:SEQuence]:SCOPe", Choice("ALL", "ACTive"), "trigger_scope"),
    Command("DISPlay:WINDow{channel}:ACTivate", _activate),
    device_attribute("DISPlay:ENABle", _BOOLEAN, "display"),
    Command("SERVice:PORT:COUNt", query=lambda call: call.device.bench.ports),
    Command("SERVice:CHANnel:COUNt", query=lambda call: call.device.style.channels),
    Command("SERVice:CHANnel:ACTive", query=lambda call: call.device.active_channel),
)

_DATA: CommandTable = (
    Command(f"{_CALCULATE}[:SELected]:DATA:SDATa", query=complex_data),
    Command(f"{_CALCULATE}[:SELected]:DATA:FDATa", query=formatted_data),
    Command(f"{_SENSE}:DATA:CORRdata", query=_corrected, asks=(Name(),)),
    Command(f"{_SENSE}:DATA:RAWData", query=_uncorrected, asks=(Name(),)),
    Command(f"{_SENSE}:FREQuency:DATA", query=_axis),
)

NUMBERED_TRACE_COMMANDS: CommandTable = (
    *stimulus_commands(),
    *SEGMENT_LIST_COMMANDS,
    *_SWEEPING,
    *TRACE_COMMANDS,
    *_DATA,
    *CORRECTION_COMMANDS,
    *EXTENSION_COMMANDS,
    *FIXTURE_COMMANDS,
)
