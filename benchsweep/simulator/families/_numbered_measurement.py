"""The command family ``numbered-measurement``: measurements have numbers, and each is read by its own.

It sweeps as ``named-measurement`` does. There is no selected measurement and no matrix by a list of ports: a
matrix is read S-parameter by S-parameter. Spellings from public driver code and from memory; the latter are
deleting, the feed of a window, the catalogue's form, ``SEGMent:BANDwidth:CONTrol`` and the words for a ratio
of receivers, ``A2/B2,1`` with port 1 driven.

A measurement belongs to the channel that defined it; its number is in use once in the whole analyzer.
"""

from __future__ import annotations

from benchsweep.simulator.analyzer import Channel, CommandTable, Instrument, Measured
from benchsweep.simulator.families.shared import (
    CORRECTION_COMMANDS,
    EXTENSION_COMMANDS,
    FIXTURE_COMMANDS,
    SEGMENT_COMMANDS,
    SWEEP_MODE_COMMANDS,
    channel_of,
    channels_in_use,
    decibels,
    device_attribute,
    interleaved,
    measured_text,
    parse_measured,
    reading,
    stimulus_commands,
)
from benchsweep.simulator.scpi import (
    Answer,
    Boolean,
    Call,
    Command,
    Integer,
    Limits,
    ScpiFault,
    Text,
    string_text,
)

__all__ = ["NUMBERED_MEASUREMENT_COMMANDS"]

_Call = Call[Instrument]


def _key(call: _Call) -> str:
    return str(call.suffixes["measurement"])


def _defined(call: _Call) -> tuple[Channel, Measured]:
    """Return the channel and the measurement that the header names."""
    channel = channel_of(call)
    if _key(call) not in channel.measurements:
        raise ScpiFault(-114, f"no measurement {_key(call)} in this channel")
    return channel, channel.measurements[_key(call)]


def _define(call: _Call) -> None:
    """Define the measurement of that number, anew if it is there."""
    channel = channel_of(call)
    others = (other for other in call.device.channels.values() if other is not channel)
    if any(_key(call) in other.measurements for other in others):
        raise ScpiFault(-221, f"measurement {_key(call)} belongs to another channel")
    text = call.arguments[0].partition(":")[0].strip().upper()
    channel.measurements[_key(call)] = parse_measured(text, call.device.bench.ports, "comma")


def _definition(call: _Call) -> str:
    return string_text(measured_text(_defined(call)[1]))


def _delete(call: _Call) -> None:
    channel, _ = _defined(call)
    del channel.measurements[_key(call)]


def _delete_all(call: _Call) -> None:
    for channel in call.device.channels.values():
        channel.measurements.clear()


def _catalog(call: _Call) -> str:
    """Answer the numbers in use, in one channel or in all of them."""
    wanted = call.arguments[0] if call.arguments else None
    numbers = [
        int(name)
        for number, channel in call.device.channels.items()
        if wanted in (None, number)
        for name in channel.measurements
    ]
    return ",".join(map(str, sorted(numbers)))


async def _complex_data(call: _Call) -> Answer:
    channel, measured = _defined(call)
    await call.device.fresh(channel)
    return call.device.data(interleaved(reading(channel, measured)))


async def _formatted_data(call: _Call) -> Answer:
    channel, measured = _defined(call)
    await call.device.fresh(channel)
    return call.device.data(decibels(reading(channel, measured)))


def _axis(call: _Call) -> Answer:
    channel, _ = _defined(call)
    return call.device.data(channel.frequency_hz)


_BOOLEAN: Boolean[Instrument] = Boolean()
_TEXT: Text[Instrument] = Text()
_MEASUREMENT = "CALCulate{channel}:MEASure{measurement}"


def _channel_limits(device: Instrument) -> Limits:
    return Limits(1, device.style.channels, 1)


def _check_feed(call: _Call) -> None:
    if not any(_key(call) in channel.measurements for channel in call.device.channels.values()):
        raise ScpiFault(-114, f"no measurement {_key(call)}")


_MEASUREMENTS: CommandTable = (
    Command(f"{_MEASUREMENT}:DEFine", _define, _definition, takes=(_TEXT,)),
    Command(f"{_MEASUREMENT}:DELete:ALL", _delete_all),
    Command(f"{_MEASUREMENT}:DELete", _delete),
    Command("CALCulate{channel}:PARameter:DELete:ALL", _delete_all),
    Command("SYSTem:MEASure:CATalog", query=_catalog, asks=(Integer(_channel_limits),), optional_asks=1),
    Command("DISPlay:MEASure{measurement}:FEED", _check_feed, takes=(Integer(Limits(1, 16, 1)),), optional=1),
    Command("DISPlay:WINDow{window}[:STATe]", lambda call: None, takes=(_BOOLEAN,)),
    device_attribute("DISPlay:ENABle", _BOOLEAN, "display"),
    Command("SYSTem:CHANnels:CATalog", query=channels_in_use),
    Command("SYSTem:CAPability:HARDware:PORTs:COUNt", query=lambda call: call.device.bench.ports),
    Command("SYSTem:CAPability:HARDware:PORTs:INTernal:COUNt", query=lambda call: call.device.bench.ports),
)

_DATA: CommandTable = (
    Command(f"{_MEASUREMENT}:DATA:SDATA", query=_complex_data),
    Command(f"{_MEASUREMENT}:DATA:FDATA", query=_formatted_data),
    Command(f"{_MEASUREMENT}:DATA:X[:VALues]", query=_axis),
    Command(f"{_MEASUREMENT}:X[:VALues]", query=_axis),
)

NUMBERED_MEASUREMENT_COMMANDS: CommandTable = (
    *stimulus_commands(average_modes=("POINt", "SWEep")),
    *SEGMENT_COMMANDS,
    *SWEEP_MODE_COMMANDS,
    *_MEASUREMENTS,
    *_DATA,
    *CORRECTION_COMMANDS,
    *EXTENSION_COMMANDS,
    *FIXTURE_COMMANDS,
)
