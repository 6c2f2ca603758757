"""The command family ``sense-function``: what is measured is a sensor function of SCPI-1999, as a string.

All of it is from memory of SCPI-1999 and of analyzers of the 1990s; no library or manual that was at hand
spells it. What the published tree carries: ``SENSe:FUNCtion 'XFR:S21'`` (also written ``'XFR:S 2,1'``) with
``CONCurrent``, ``CALCulate:FEED``, ``CALCulate:FORMat`` and ``CALCulate:DATA?`` (formatted data: decibels
after a preset), ``TRACe:DATA? CH1SDATA`` (complex) and ``CH1FDATA``, ``SENSe:SWEep:SPACing``,
``CORRection:EDELay``. ``SWEep:TYPE`` is understood as well. There is no matrix, no axis, no segments, no
count of ports.

By the trigger model of the standard the channels hold after a reset, and ``*OPC?`` is not answered while a
channel sweeps continuously. A sweep drives the ports that the functions of its channel need.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.analyzer import Channel, CommandTable, Instrument, Measured
from benchsweep.simulator.families.shared import (
    CORRECTION_COMMANDS,
    attribute,
    channel_of,
    decibels,
    device_attribute,
    extension_time,
    interleaved,
    parse_parameter,
    reading,
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
    Name,
    ScpiFault,
    Text,
    string_text,
)

__all__ = ["SENSE_FUNCTION_COMMANDS"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
_Call = Call[Instrument]
_FUNCTION = re.compile(r"(?:XFR(?:EQUENCY)?:)?(?:POW(?:ER)?:)?S ?(\d) ?,? ?(\d)")
_TRACE = re.compile(r"CH(\d)([SF])DATA")
_MOST_FUNCTIONS = 16


# -- functions ---------------------------------------------------------------------------------------------


def _function(call: _Call, text: str) -> tuple[str, tuple[int, int]]:
    """Return the function as answers spell it, and its ports."""
    found = _FUNCTION.fullmatch(text.strip().upper())
    if found is None:
        raise ScpiFault(-224, f"{text[:30]}: no such function")
    name = f"S{found[1]}{found[2]}"
    return f"XFR:{name}", parse_parameter(name, call.device.bench.ports)


def _switch_on(call: _Call) -> None:
    """Take the functions, beside those that are on when they may be concurrent, else in their place."""
    channel = channel_of(call)
    wanted: dict[str, Measured] = dict(_function(call, text) for text in call.arguments)
    if len(wanted) > 1 and not channel.concurrent:
        raise ScpiFault(-221, "functions are not concurrent")
    channel.measurements = {**channel.measurements, **wanted} if channel.concurrent else wanted
    if channel.selected not in channel.measurements:
        channel.selected = next(iter(wanted))


def _switch_off(call: _Call) -> None:
    channel = channel_of(call)
    for text in call.arguments:
        channel.measurements.pop(_function(call, text)[0], None)
    if channel.selected not in channel.measurements:
        channel.selected = next(iter(channel.measurements), None)


def _functions(call: _Call) -> str:
    return ",".join(map(string_text, channel_of(call).measurements)) or '""'


def _is_on(call: _Call) -> str:
    return "1" if _function(call, call.arguments[0])[0] in channel_of(call).measurements else "0"


def _feed(call: _Call, text: str) -> None:
    name, _ = _function(call, text)
    channel = channel_of(call)
    if name not in channel.measurements:
        raise ScpiFault(-221, f"{name} is not on")
    channel.selected = name


# -- data --------------------------------------------------------------------------------------------------


_SHOWN: Mapping[str, Callable[[Complex], Real]] = {
    "MLOG": decibels,
    "MLIN": lambda s: np.asarray(np.abs(s)),
    "PHAS": lambda s: np.asarray(np.degrees(np.angle(s))),
    "REAL": lambda s: s.real,
    "IMAG": lambda s: s.imag,
    "COMP": interleaved,
}


async def _fed(call: _Call, channel: Channel) -> Complex:
    await call.device.fresh(channel)
    if channel.selected is None:
        raise ScpiFault(-221, "no function is on")
    return reading(channel, channel.measurements[channel.selected])


async def _formatted(call: _Call) -> Answer:
    channel = channel_of(call)
    values = await _fed(call, channel)
    return call.device.data(_SHOWN[channel.data_format](values))


async def _trace_data(call: _Call) -> Answer:
    found = _TRACE.fullmatch(call.arguments[0])
    channel = call.device.channels.get(int(found[1])) if found else None
    if found is None or channel is None:
        raise ScpiFault(-224, f"{call.arguments[0][:30]}: no such trace")
    values = await _fed(call, channel)
    return call.device.data(interleaved(values) if found[2] == "S" else decibels(values))


def _traces(call: _Call) -> str:
    names = (f"CH{number}{kind}DATA" for number in call.device.channels for kind in "SF")
    return ",".join(map(string_text, names))


# -- sweeping and correction -------------------------------------------------------------------------------


def _initiate(call: _Call) -> None:
    device = call.device
    if channel_of(call).mode == "CONT":
        raise ScpiFault(-213, "continuous")
    device.start_sweeps({call.suffixes["channel"]: 1}, waits=device.trigger_source != "IMM")


def _set_delay(call: _Call, delay_s: float) -> None:
    """Take one delay for all ports."""
    channel = channel_of(call)
    channel.extension_s = dict.fromkeys(channel.extension_s, delay_s)


_BOOLEAN: Boolean[Instrument] = Boolean()
_TEXT: Text[Instrument] = Text()
_SENSE = "[SENSe{channel}]"
_CALCULATE = "CALCulate{channel}"

_FUNCTIONS: CommandTable = (
    attribute(f"{_SENSE}:FUNCtion:CONCurrent", _BOOLEAN, "concurrent"),
    Command(f"{_SENSE}:FUNCtion:COUNt", query=lambda call: len(channel_of(call).measurements)),
    Command(f"{_SENSE}:FUNCtion:STATe", query=_is_on, asks=(_TEXT,)),
    Command(
        f"{_SENSE}:FUNCtion:OFF",
        _switch_off,
        takes=(_TEXT,) * _MOST_FUNCTIONS,
        optional=_MOST_FUNCTIONS - 1,
    ),
    Command(
        f"{_SENSE}:FUNCtion[:ON]",
        _switch_on,
        _functions,
        takes=(_TEXT,) * _MOST_FUNCTIONS,
        optional=_MOST_FUNCTIONS - 1,
    ),
    setting(f"{_CALCULATE}:FEED", _TEXT, lambda call: channel_of(call).selected or "", _feed),
)

_SWEEPING: CommandTable = (
    setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: channel_of(call).mode == "CONT",
        set_continuous,
    ),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    device_attribute("TRIGger[:SEQuence]:SOURce", Choice("IMMediate", "EXTernal", "BUS"), "trigger_source"),
)

_DATA: CommandTable = (
    attribute(
        f"{_CALCULATE}:FORMat",
        Choice("MLOGarithmic", "MLINear", "PHASe", "REAL", "IMAGinary", "COMPlex"),
        "data_format",
    ),
    Command(f"{_CALCULATE}:DATA", query=_formatted),
    *(Command(f"{root}:CATalog", query=_traces) for root in ("TRACe", "DATA")),
    *(Command(f"{root}[:DATA]", query=_trace_data, asks=(Name(),)) for root in ("TRACe", "DATA")),
    device_attribute("DISPlay:ENABle", _BOOLEAN, "display"),
    *CORRECTION_COMMANDS,
    attribute(f"{_SENSE}:CORRection:EDELay:STATe", _BOOLEAN, "extension"),
    setting(
        f"{_SENSE}:CORRection:EDELay[:TIME]",
        extension_time,
        lambda call: channel_of(call).extension_s[1],
        _set_delay,
    ),
)

SENSE_FUNCTION_COMMANDS: CommandTable = (
    *stimulus_commands(
        sweep_types=("LINear", "LOGarithmic"),
        type_headers=("SWEep:SPACing", "SWEep:TYPE"),
    ),
    *_FUNCTIONS,
    *_SWEEPING,
    *_DATA,
)
