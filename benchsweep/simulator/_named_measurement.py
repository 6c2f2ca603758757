"""The command family ``named-measurement``: a measurement has a quoted name and a bare parameter.

Headers are standard SCPI where there is a standard; the rest is how this family of analyzers commonly spells
it (common practice, from memory and public driver code). Behaviour that surprises is kept on purpose: the
analyzer's own correction is on after a preset, matrices come as magnitude and angle unless RI is asked for,
and two-port matrices come in the order 11, 21, 12, 22 while larger ones come row by row.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator._channel import Channel
from benchsweep.simulator._instrument import CommandTable, Instrument
from benchsweep.simulator._messages import ScpiFault
from benchsweep.simulator._segments import SEGMENT_COMMANDS
from benchsweep.simulator._settings import attribute, channel_of, setting
from benchsweep.simulator._stimulus import stimulus_commands
from benchsweep.simulator._tree import Answer, Call, Command
from benchsweep.simulator._values import (
    Boolean,
    Choice,
    Integer,
    Limits,
    Name,
    Number,
    Text,
    string_text,
)

__all__ = ["NAMED_MEASUREMENT_COMMANDS"]

_Call = Call[Instrument]
_PARAMETER = re.compile(r"S(\d+)")
_FIRST_TWO_DIGIT_PORT = 10
_MOST_GROUPS = 2_000_000
_LONGEST_EXTENSION_S = 1e-3


# -- sweeping ----------------------------------------------------------------------------------------------


def _sweep(call: _Call, sweeps: int) -> None:
    waits = call.device.trigger_source != "IMM"
    call.device.start_sweeps({call.suffixes["channel"]: sweeps}, waits=waits)


def _set_mode(call: _Call, mode: str) -> None:
    channel = channel_of(call)
    if mode in ("SING", "GRO"):
        sweeps = 1 if mode == "SING" else channel.group_count
        before, channel.mode = channel.mode, mode
        try:
            _sweep(call, sweeps)
        except ScpiFault:
            channel.mode = before
            raise
    else:
        channel.mode = mode


def _set_continuous(call: _Call, on: bool) -> None:
    channel_of(call).mode = "CONT" if on else "HOLD"


def _initiate(call: _Call) -> None:
    """Sweep once, or give the trigger that a sweep waits for."""
    channel = channel_of(call)
    if channel.mode == "CONT":
        raise ScpiFault(-213, "continuous")
    if call.device.busy and call.device.trigger_source == "MAN":
        call.device.trigger()
        return
    _sweep(call, 1)


def _set_trigger_source(call: _Call, source: str) -> None:
    call.device.trigger_source = source


# -- measurements ------------------------------------------------------------------------------------------


def _parse_parameter(text: str, ports: int) -> tuple[int, int]:
    """Return (receiving port, driven port) of ``S21`` or, with two digits each, ``S1001``.

    Raises
    ------
    ScpiFault
        -224: odd number of digits, or no such port.
    """
    found = _PARAMETER.fullmatch(text)
    digits = found[1] if found else ""
    if len(digits) != 2 and not (len(digits) == 4 and ports >= _FIRST_TWO_DIGIT_PORT):
        raise ScpiFault(-224, f"{text[:20]}: no such parameter")
    half = len(digits) // 2
    receiver, source = int(digits[:half]), int(digits[half:])
    if not (1 <= receiver <= ports and 1 <= source <= ports):
        raise ScpiFault(-224, f"{text}: there are ports 1 to {ports}")
    return receiver, source


def _parameter_text(receiver: int, source: int) -> str:
    digits = 1 if max(receiver, source) < _FIRST_TWO_DIGIT_PORT else 2
    return f"S{receiver:0{digits}d}{source:0{digits}d}"


def _define(call: _Call) -> None:
    channel = channel_of(call)
    name, parameter = call.arguments
    if not name or "," in name:
        raise ScpiFault(-224, "name of a measurement")
    if any(name in other.measurements for other in call.device.channels.values()):
        raise ScpiFault(-224, f"{name}: this name is taken")
    channel.measurements[name] = _parse_parameter(parameter, call.device.bench.ports)


def _named(channel: Channel, name: str) -> str:
    if name not in channel.measurements:
        raise ScpiFault(-224, f"{name[:40]}: no measurement of that name")
    return name


def _select(call: _Call) -> None:
    channel = channel_of(call)
    channel.selected = _named(channel, call.arguments[0])


def _delete(call: _Call) -> None:
    channel = channel_of(call)
    name = _named(channel, call.arguments[0])
    del channel.measurements[name]
    channel.selected = None if channel.selected == name else channel.selected


def _delete_all(call: _Call) -> None:
    for channel in call.device.channels.values():
        channel.measurements.clear()
        channel.selected = None


def _catalog(call: _Call) -> str:
    entries = [f"{name},{_parameter_text(*ports)}" for name, ports in channel_of(call).measurements.items()]
    return string_text(",".join(entries) or "NO CATALOG")


def _feed(call: _Call) -> None:
    if not any(call.arguments[0] in channel.measurements for channel in call.device.channels.values()):
        raise ScpiFault(-224, f"{call.arguments[0][:40]}: no measurement of that name")


def _channels_in_use(call: _Call) -> str:
    used = [str(number) for number, channel in call.device.channels.items() if channel.measurements]
    return string_text(",".join(used))


# -- data --------------------------------------------------------------------------------------------------


def _interleaved(values: NDArray[np.complex128]) -> NDArray[np.float64]:
    return np.stack([values.real, values.imag], axis=-1)


async def _trace_data(call: _Call) -> Answer:
    channel = await call.device.fresh(channel_of(call))
    if channel.selected is None:
        raise ScpiFault(-221, "no measurement selected")
    receiver, source = channel.measurements[channel.selected]
    values = channel.read(np.array([receiver - 1]), np.array([source - 1]))[:, 0, 0]
    if call.arguments[0] == "SDATA":
        return call.device.data(_interleaved(values))
    return call.device.data(_decibels(values))


def _decibels(values: NDArray[np.complex128]) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(values))
    return np.asarray(np.maximum(level, -400.0))


def _parse_ports(text: str, ports: int) -> Sequence[int]:
    wanted = [part.strip() for part in text.split(",")]
    if not all(part.isascii() and part.isdigit() and 1 <= int(part[:9]) <= ports for part in wanted):
        raise ScpiFault(-224, f"{text[:40]}: there are ports 1 to {ports}")
    numbers = [int(part) for part in wanted]
    if len(set(numbers)) != len(numbers):
        raise ScpiFault(-224, f"{text[:40]}: a port named twice")
    return numbers


async def _matrix_data(call: _Call) -> Answer:
    """Answer the frequency row, then two rows for each S-parameter of the ports asked for."""
    ports = np.array(_parse_ports(call.arguments[0], call.device.bench.ports)) - 1
    channel = await call.device.fresh(channel_of(call))
    s = channel.read(ports, ports)
    # Row by row; two ports alone come column by column, as in a two-port Touchstone file.
    flat = (s.transpose(0, 2, 1) if ports.size == 2 else s).reshape(s.shape[0], -1)
    if call.device.snp_format == "RI":
        first, second = flat.real, flat.imag
    else:
        first = np.abs(flat) if call.device.snp_format == "MA" else _decibels(flat)
        second = np.degrees(np.angle(flat))
    rows = np.empty((1 + 2 * flat.shape[1], flat.shape[0]))
    rows[0], rows[1::2], rows[2::2] = channel.frequency_hz, first.T, second.T
    return call.device.data(rows)


def _axis(call: _Call) -> Answer:
    return call.device.data(channel_of(call).frequency_hz)


def _set_snp_format(call: _Call, form: str) -> None:
    call.device.snp_format = form


def _set_extension(call: _Call, delay_s: float) -> None:
    channel_of(call).extension_s[call.suffixes["port"]] = delay_s


def _set_display(call: _Call, on: bool) -> None:
    call.device.display = on


_BOOLEAN: Boolean[Instrument] = Boolean()
_TEXT: Text[Instrument] = Text()
_SENSE = "[SENSe{channel}]"
_CALCULATE = "CALCulate{channel}"

_SWEEPING: CommandTable = (
    setting(
        f"{_SENSE}:SWEep:MODE",
        Choice("HOLD", "SINGle", "GROups", "CONTinuous"),
        lambda call: channel_of(call).mode,
        _set_mode,
    ),
    attribute(f"{_SENSE}:SWEep:GROups:COUNt", Integer(Limits(1, _MOST_GROUPS, 1)), "group_count"),
    setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: channel_of(call).mode == "CONT",
        _set_continuous,
    ),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    setting(
        "TRIGger[:SEQuence]:SOURce",
        Choice("IMMediate", "MANual", "EXTernal"),
        lambda call: call.device.trigger_source,
        _set_trigger_source,
    ),
)

_MEASUREMENTS: CommandTable = (
    Command(f"{_CALCULATE}:PARameter[:DEFine]:EXTended", _define, takes=(_TEXT, Name())),
    Command(
        f"{_CALCULATE}:PARameter:SELect",
        _select,
        lambda call: string_text(channel_of(call).selected or ""),
        takes=(_TEXT,),
    ),
    Command(f"{_CALCULATE}:PARameter:CATalog[:EXTended]", query=_catalog),
    Command(f"{_CALCULATE}:PARameter:DELete:ALL", _delete_all),
    Command(f"{_CALCULATE}:PARameter:DELete[:NAME]", _delete, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:FEED", _feed, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:DELete", lambda call: None),
    Command("DISPlay:WINDow{window}[:STATe]", lambda call: None, takes=(_BOOLEAN,)),
    setting("DISPlay:ENABle", _BOOLEAN, lambda call: call.device.display, _set_display),
    Command("SYSTem:CHANnels:CATalog", query=_channels_in_use),
    Command(
        "SYSTem:CAPability:HARDware:PORTs:COUNt",
        query=lambda call: call.device.bench.ports,
    ),
)

_DATA: CommandTable = (
    Command(f"{_CALCULATE}:DATA:SNP:PORTs", query=_matrix_data, asks=(_TEXT,)),
    Command(f"{_CALCULATE}:DATA", query=_trace_data, asks=(Choice("SDATA", "FDATA"),)),
    Command(f"{_CALCULATE}:X[:VALues]", query=_axis),
    setting(
        "MMEMory:STORe:TRACe:FORMat:SNP",
        Choice("RI", "MA", "DB"),
        lambda call: call.device.snp_format,
        _set_snp_format,
    ),
    attribute(f"{_SENSE}:CORRection[:STATe]", _BOOLEAN, "correction"),
    attribute(f"{_SENSE}:CORRection:EXTension[:STATe]", _BOOLEAN, "extension"),
    setting(
        f"{_SENSE}:CORRection:EXTension:PORT{{port}}[:TIME]",
        Number(Limits(-_LONGEST_EXTENSION_S, _LONGEST_EXTENSION_S, 0.0), "S"),
        lambda call: channel_of(call).extension_s[call.suffixes["port"]],
        _set_extension,
    ),
    attribute(f"{_CALCULATE}:FSIMulator:STATe", _BOOLEAN, "fixture"),
)

NAMED_MEASUREMENT_COMMANDS: CommandTable = (
    *stimulus_commands(average_modes=("POINt", "SWEep")),
    *SEGMENT_COMMANDS,
    *_SWEEPING,
    *_MEASUREMENTS,
    *_DATA,
)
