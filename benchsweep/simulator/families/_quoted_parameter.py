"""The command family ``quoted-parameter``: name and parameter of a trace are both strings.

A matrix is a declared group of ports (``PARameter:DEFine:SGRoup``); its sweep drives all of them, and its
data come parameter after parameter: S11 at all frequencies, then S12, row by row of the ports as they were
listed. Every channel has its own ``INITiate``, which by default starts all channels that hold.

Spellings from public driver code. From memory: the scope of ``INITiate``, the port offsets
(``CORRection:EDELay``, ``CORRection:OFFSet``), ``SYSTem:DISPlay:UPDate``, the names of the traces of a group,
``SEGMent:BANDwidth:CONTrol``. Numbers in answers carry no plus sign, catalogues stand in single quotes, and
``SWEep:TIME?`` knows nothing of segments. A ratio of receivers is written ``A2D1/B2D1`` with port 1 driven,
from memory.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.analyzer import CommandTable, Instrument, Measured
from benchsweep.simulator.families.shared import (
    CORRECTION_COMMANDS,
    SEGMENT_COMMANDS,
    attribute,
    channel_of,
    decibels,
    delete,
    device_attribute,
    extension_time,
    interleaved,
    measured_text,
    named,
    parameter_text,
    parse_measured,
    parse_ports,
    reading,
    select,
    set_continuous,
    setting,
    stimulus_commands,
)
from benchsweep.simulator.scpi import (
    Answer,
    Boolean,
    Call,
    Choice,
    Command,
    Integer,
    Limits,
    ScpiFault,
    Text,
)

__all__ = ["QUOTED_PARAMETER_COMMANDS"]

_Call = Call[Instrument]
_MOST_AVERAGES = 1000
_MOST_SWEEPS = 32_767
_MOST_PORTS = 16


# -- sweeping ----------------------------------------------------------------------------------------------


def _initiate(call: _Call) -> None:
    """Sweep this channel as often as its sweep count says; with scope ALL the other holding ones too."""
    device, own = call.device, channel_of(call)
    if own.mode == "CONT":
        raise ScpiFault(-213, "continuous")
    everyone = device.trigger_scope == "ALL"
    jobs = {
        number: channel.sweep_count
        for number, channel in device.channels.items()
        if channel is own or (everyone and channel.mode == "HOLD" and channel.driven)
    }
    device.start_sweeps(jobs)


# -- traces ------------------------------------------------------------------------------------------------


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _define(call: _Call) -> None:
    """Define a trace, or give the one of that name another parameter."""
    channel = channel_of(call)
    name, parameter = call.arguments
    if not name or "," in name:
        raise ScpiFault(-224, "name of a trace")
    others = (other for other in call.device.channels.values() if other is not channel)
    if any(name in other.measurements for other in others):
        raise ScpiFault(-224, f"{name}: this name is taken")
    ports = call.device.bench.ports
    channel.measurements[name] = parse_measured(parameter.strip().upper(), ports, "drive", underscore=True)
    channel.selected = name


def _delete_in_channel(call: _Call) -> None:
    channel = channel_of(call)
    channel.measurements.clear()
    channel.group, channel.selected = (), None


def _delete_all(call: _Call) -> None:
    for channel in call.device.channels.values():
        channel.measurements.clear()
        channel.group, channel.selected = (), None


def _catalog(call: _Call) -> str:
    channel = channel_of(call)
    grouped: dict[str, Measured] = {
        f"Ch{call.suffixes['channel']}_SG_{parameter_text(*ports)}": ports
        for ports in itertools.product(channel.group, channel.group)
    }
    entries = {**channel.measurements, **grouped}
    ratios = "{o}D{s}/{u}D{s}"
    return _quoted(",".join(f"{name},{measured_text(one, ratios=ratios)}" for name, one in entries.items()))


def _feed(call: _Call) -> None:
    if not any(call.arguments[0] in channel.measurements for channel in call.device.channels.values()):
        raise ScpiFault(-224, f"{call.arguments[0][:40]}: no trace of that name")


def _define_group(call: _Call) -> None:
    numbers = [str(number) for number in call.arguments]
    channel_of(call).group = tuple(parse_ports(numbers, call.device.bench.ports))


def _group(call: _Call) -> str:
    return ",".join(map(str, channel_of(call).group))


def _delete_group(call: _Call) -> None:
    channel_of(call).group = ()


def _channels_in_use(call: _Call) -> str:
    used = (number for number, channel in call.device.channels.items() if channel.driven)
    return _quoted(",".join(f"{number},Ch{number}" for number in used))


# -- data --------------------------------------------------------------------------------------------------


def _shown(call: _Call, values: NDArray[np.complex128], kind: str) -> Answer:
    return call.device.data(interleaved(values) if kind == "SDAT" else decibels(values))


async def _selected_data(call: _Call) -> Answer:
    channel = await call.device.fresh(channel_of(call))
    if channel.selected is None:
        raise ScpiFault(-221, "no trace selected")
    return _shown(call, reading(channel, channel.measurements[channel.selected]), call.arguments[0])


async def _named_data(call: _Call) -> Answer:
    name, kind = call.arguments
    channel = await call.device.fresh(channel_of(call))
    return _shown(call, reading(channel, channel.measurements[named(channel, name)]), kind)


async def _channel_data(call: _Call) -> Answer:
    """Answer all traces of the channel, in the order in which they were defined."""
    channel = await call.device.fresh(channel_of(call))
    if not channel.measurements:
        raise ScpiFault(-221, "no trace defined")
    traces = [reading(channel, measured) for measured in channel.measurements.values()]
    return _shown(call, np.stack(traces), call.arguments[0])


async def _group_data(call: _Call) -> Answer:
    """Answer S11 at all frequencies, then S12 and so on, for the ports of the group as they were listed."""
    channel = await call.device.fresh(channel_of(call))
    if not channel.group:
        raise ScpiFault(-221, "no group of ports declared")
    ports = np.array(channel.group) - 1
    return _shown(call, channel.read(ports, ports).transpose(1, 2, 0), call.arguments[0])


def _axis(call: _Call) -> Answer:
    return call.device.data(channel_of(call).frequency_hz)


# -- port offsets ------------------------------------------------------------------------------------------


def _set_delay(call: _Call, delay_s: float) -> None:
    channel = channel_of(call)
    channel.extension_s[call.suffixes["port"]] = delay_s


def _offset(call: _Call) -> bool:
    """Return whether any port has an offset."""
    return any(channel_of(call).extension_s.values())


def _set_offset(call: _Call, on: bool) -> None:
    """Take all offsets away; on does nothing, as there is none to come back."""
    if not on:
        channel = channel_of(call)
        channel.extension_s = dict.fromkeys(channel.extension_s, 0.0)


# -- errors ------------------------------------------------------------------------------------------------


def _all_errors(call: _Call) -> str:
    errors = call.device.status.errors
    entries = [errors.next() for _ in range(max(len(errors), 1))]
    return ",".join(entry.removeprefix("+") for entry in entries)


_BOOLEAN: Boolean[Instrument] = Boolean()
_TEXT: Text[Instrument] = Text()
_KIND: Choice[Instrument] = Choice("SDATa", "FDATa")
_SENSE = "[SENSe{channel}]"
_CALCULATE = "CALCulate{channel}"


def _port_limits(device: Instrument) -> Limits:
    return Limits(1, device.bench.ports, 1)


_SWEEPING: CommandTable = (
    attribute(f"{_SENSE}:SWEep:COUNt", Integer(Limits(1, _MOST_SWEEPS, 1)), "sweep_count"),
    setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: channel_of(call).mode == "CONT",
        set_continuous,
    ),
    device_attribute("INITiate{channel}[:IMMediate]:SCOPe", Choice("ALL", "SINGle"), "trigger_scope"),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    device_attribute(
        "TRIGger{channel}[:SEQuence]:SOURce", Choice("IMMediate", "EXTernal", "MANual"), "trigger_source"
    ),
)

_TRACES: CommandTable = (
    Command(f"{_CALCULATE}:PARameter:SDEFine", _define, takes=(_TEXT, _TEXT)),
    Command(
        f"{_CALCULATE}:PARameter:SELect",
        select,
        lambda call: _quoted(channel_of(call).selected or ""),
        takes=(_TEXT,),
    ),
    Command(f"{_CALCULATE}:PARameter:CATalog", query=_catalog),
    Command(f"{_CALCULATE}:PARameter:DELete:ALL", _delete_all),
    Command(f"{_CALCULATE}:PARameter:DELete:CALL", _delete_in_channel),
    Command(f"{_CALCULATE}:PARameter:DELete:SGRoup", _delete_group),
    Command(f"{_CALCULATE}:PARameter:DELete", delete, takes=(_TEXT,)),
    Command(
        f"{_CALCULATE}:PARameter:DEFine:SGRoup",
        _define_group,
        _group,
        takes=(Integer(_port_limits),) * _MOST_PORTS,
        optional=_MOST_PORTS - 1,
    ),
    Command("DISPlay:WINDow{window}[:STATe]", lambda call: None, takes=(_BOOLEAN,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:FEED", _feed, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:EFEed", _feed, takes=(_TEXT,)),
    device_attribute("SYSTem:DISPlay:UPDate", _BOOLEAN, "display"),
    Command("CONFigure:CHANnel:CATalog", query=_channels_in_use),
    Command("INSTrument:PORT:COUNt", query=lambda call: call.device.bench.ports),
    Command("SYSTem:ERRor:ALL", query=_all_errors),
)

_DATA: CommandTable = (
    Command(f"{_CALCULATE}:DATA:SGRoup", query=_group_data, asks=(_KIND,)),
    Command(f"{_CALCULATE}:DATA:TRACe", query=_named_data, asks=(_TEXT, _KIND)),
    *(
        Command(f"{_CALCULATE}:DATA:{header}", query=_channel_data, asks=(_KIND,))
        for header in ("CHANnel:ALL", "ALL")
    ),
    Command(f"{_CALCULATE}:DATA:STIMulus", query=_axis),
    Command(f"{_CALCULATE}:DATA", query=_selected_data, asks=(_KIND,)),
    *CORRECTION_COMMANDS,
    setting(
        f"{_SENSE}:CORRection:EDELay{{port}}[:TIME]",
        extension_time,
        lambda call: channel_of(call).extension_s[call.suffixes["port"]],
        _set_delay,
    ),
    attribute(f"{_SENSE}:CORRection:OFFSet{{port}}:COMPensation[:STATe]", _BOOLEAN, "extension"),
    setting(f"{_SENSE}:CORRection:OFFSet{{port}}[:STATe]", _BOOLEAN, _offset, _set_offset),
)

QUOTED_PARAMETER_COMMANDS: CommandTable = (
    *stimulus_commands(
        average_modes=("AUTO", "FLATten", "REDuce", "MOVing"),
        most_averages=_MOST_AVERAGES,
    ),
    *SEGMENT_COMMANDS,
    *_SWEEPING,
    *_TRACES,
    *_DATA,
)
