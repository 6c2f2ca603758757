"""The command family ``named-measurement``: a measurement has a quoted name and a bare parameter.

Headers are standard SCPI where there is a standard; the rest is how this family of analyzers commonly spells
it (common practice, from memory and public driver code). Behaviour that surprises is kept on purpose: the
analyzer's own correction is on after a preset, matrices come as magnitude and angle unless RI is asked for,
and two-port matrices come in the order 11, 21, 12, 22 while larger ones come row by row.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator._channel import Channel
from benchsweep.simulator._grammar import Form, Parameter
from benchsweep.simulator._instrument import CommandTable, Instrument
from benchsweep.simulator._messages import ScpiFault
from benchsweep.simulator._tree import Answer, Call, Command
from benchsweep.simulator._values import (
    Boolean,
    Choice,
    Integer,
    Kind,
    Limits,
    Name,
    Number,
    Text,
    integer_text,
    number_text,
    string_text,
)

__all__ = ["NAMED_MEASUREMENT_COMMANDS"]

_Call = Call[Instrument]
_PARAMETER = re.compile(r"S(\d+)")
_FIRST_TWO_DIGIT_PORT = 10
_MOST_AVERAGES = 65_536
_MOST_GROUPS = 2_000_000
_LONGEST_EXTENSION_S = 1e-3


class _LimitWord(Kind[Instrument]):
    """MIN, MAX or DEF behind a query: the value of the setting that it names."""

    def __init__(self, of: Number[Instrument]) -> None:
        self._of = of

    def decode(self, parameter: Parameter, device: Instrument) -> float:
        self.refuse(parameter, Form.WORD)
        return self._of.decode(parameter, device)

    def encode(self, value: Any) -> str:
        return self._of.encode(value)


def _setting(
    pattern: str,
    kind: Kind[Instrument],
    read: Callable[[_Call], Any],
    write: Callable[[_Call, Any], None],
) -> Command[Instrument]:
    """Return a command that sets a value, and whose query answers it (or its limits, for a number)."""

    def setter(call: _Call) -> None:
        write(call, call.arguments[0])

    def getter(call: _Call) -> str:
        return kind.encode(call.arguments[0] if call.arguments else read(call))

    asks: tuple[Kind[Instrument], ...] = (_LimitWord(kind),) if isinstance(kind, Number) else ()
    return Command(pattern, setter, getter, takes=(kind,), asks=asks, optional_asks=len(asks))


def _channel(call: _Call) -> Channel:
    return call.device.channels[call.suffixes["channel"]]


def _attribute(pattern: str, kind: Kind[Instrument], name: str) -> Command[Instrument]:
    """Return a setting that is an attribute of the channel."""

    def write(call: _Call, value: Any) -> None:
        setattr(_channel(call), name, value)

    return _setting(pattern, kind, lambda call: getattr(_channel(call), name), write)


# -- stimulus ----------------------------------------------------------------------------------------------


def _frequency_limits(preset: str) -> Callable[[Instrument], Limits]:
    def limits(device: Instrument) -> Limits:
        hardware = device.bench.definition.analyzer
        fresh = Channel(device.bench)
        value = {
            "start": fresh.start_hz,
            "stop": fresh.stop_hz,
            "center": 0.5 * (fresh.start_hz + fresh.stop_hz),
        }[preset]
        return Limits(hardware.min_frequency_hz, hardware.max_frequency_hz, value)

    return limits


def _span_limits(device: Instrument) -> Limits:
    hardware = device.bench.definition.analyzer
    fresh = Channel(device.bench)
    widest = hardware.max_frequency_hz - hardware.min_frequency_hz
    return Limits(0.0, widest, fresh.stop_hz - fresh.start_hz)


def _set_start(call: _Call, value: float) -> None:
    """Set the start; a stop below it moves along."""
    channel = _channel(call)
    channel.start_hz, channel.stop_hz = value, max(value, channel.stop_hz)


def _set_stop(call: _Call, value: float) -> None:
    """Set the stop; a start above it moves along."""
    channel = _channel(call)
    channel.start_hz, channel.stop_hz = min(value, channel.start_hz), value


def _set_around(channel: Channel, center_hz: float, span_hz: float) -> None:
    """Set centre and span; a span that would leave the analyzer's range is narrowed."""
    hardware = channel.bench.definition.analyzer
    room = min(center_hz - hardware.min_frequency_hz, hardware.max_frequency_hz - center_hz)
    half = min(0.5 * span_hz, room)
    channel.start_hz, channel.stop_hz = center_hz - half, center_hz + half


def _center(call: _Call) -> float:
    channel = _channel(call)
    return 0.5 * (channel.start_hz + channel.stop_hz)


def _span(call: _Call) -> float:
    channel = _channel(call)
    return channel.stop_hz - channel.start_hz


def _set_bandwidth(call: _Call, value: float) -> None:
    """Take the nearest bandwidth that the hardware has."""
    legal = np.array(call.device.bench.definition.analyzer.if_bandwidths_hz)
    _channel(call).if_bandwidth_hz = float(legal[np.argmin(np.abs(legal - value))])


def _bandwidth_limits(device: Instrument) -> Limits:
    definition = device.bench.definition
    legal = definition.analyzer.if_bandwidths_hz
    return Limits(min(legal), max(legal), definition.preset.if_bandwidth_hz)


def _power_limits(device: Instrument) -> Limits:
    definition = device.bench.definition
    return Limits(
        definition.analyzer.min_power_dbm, definition.analyzer.max_power_dbm, definition.preset.power_dbm
    )


def _set_power(call: _Call, value: float) -> None:
    channel = _channel(call)
    ports = tuple(channel.power_dbm) if channel.power_coupled else (call.suffixes["port"],)
    channel.power_dbm.update(dict.fromkeys(ports, value))


def _points_limits(device: Instrument) -> Limits:
    return Limits(1, device.bench.definition.analyzer.max_points, Channel(device.bench).points)


# -- sweeping ----------------------------------------------------------------------------------------------


def _set_mode(call: _Call, mode: str) -> None:
    channel = _channel(call)
    if mode in ("SING", "GRO"):
        sweeps = 1 if mode == "SING" else channel.group_count
        before, channel.mode = channel.mode, mode
        try:
            call.device.start_sweeps(channel, sweeps)
        except ScpiFault:
            channel.mode = before
            raise
    else:
        channel.mode = mode


def _set_continuous(call: _Call, on: bool) -> None:
    _channel(call).mode = "CONT" if on else "HOLD"


def _initiate(call: _Call) -> None:
    """Sweep once, or give the trigger that a sweep waits for."""
    channel = _channel(call)
    if channel.mode == "CONT":
        raise ScpiFault(-213, "continuous")
    if call.device.busy and call.device.trigger_source == "MAN":
        call.device.trigger()
        return
    call.device.start_sweeps(channel, 1)


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
    channel = _channel(call)
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
    channel = _channel(call)
    channel.selected = _named(channel, call.arguments[0])


def _delete(call: _Call) -> None:
    channel = _channel(call)
    name = _named(channel, call.arguments[0])
    del channel.measurements[name]
    channel.selected = None if channel.selected == name else channel.selected


def _delete_all(call: _Call) -> None:
    for channel in call.device.channels.values():
        channel.measurements.clear()
        channel.selected = None


def _catalog(call: _Call) -> str:
    entries = [f"{name},{_parameter_text(*ports)}" for name, ports in _channel(call).measurements.items()]
    return string_text(",".join(entries) or "NO CATALOG")


def _feed(call: _Call) -> None:
    if not any(call.arguments[0] in channel.measurements for channel in call.device.channels.values()):
        raise ScpiFault(-224, f"{call.arguments[0][:40]}: no measurement of that name")


def _channels_in_use(call: _Call) -> str:
    used = [str(number) for number, channel in call.device.channels.items() if channel.measurements]
    return string_text(",".join(used))


# -- data --------------------------------------------------------------------------------------------------


async def _fresh(call: _Call) -> Channel:
    """Return the channel; one that sweeps continuously has just finished a sweep."""
    channel = _channel(call)
    if channel.mode == "CONT" and not call.device.busy and channel.measurements:
        await call.device.sweep(channel, 1)
    return channel


def _interleaved(values: NDArray[np.complex128]) -> NDArray[np.float64]:
    return np.stack([values.real, values.imag], axis=-1)


async def _trace_data(call: _Call) -> Answer:
    channel = await _fresh(call)
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
    channel = await _fresh(call)
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
    return call.device.data(_channel(call).frequency_hz)


def _set_snp_format(call: _Call, form: str) -> None:
    call.device.snp_format = form


def _set_extension(call: _Call, delay_s: float) -> None:
    _channel(call).extension_s[call.suffixes["port"]] = delay_s


def _set_display(call: _Call, on: bool) -> None:
    call.device.display = on


_BOOLEAN: Boolean[Instrument] = Boolean()
_TEXT: Text[Instrument] = Text()
_BANDWIDTH: Number[Instrument] = Number(_bandwidth_limits, "HZ")
_SENSE = "[SENSe{channel}]"
_CALCULATE = "CALCulate{channel}"

_STIMULUS: CommandTable = (
    _setting(
        f"{_SENSE}:FREQuency:STARt",
        Number(_frequency_limits("start"), "HZ"),
        lambda call: _channel(call).start_hz,
        _set_start,
    ),
    _setting(
        f"{_SENSE}:FREQuency:STOP",
        Number(_frequency_limits("stop"), "HZ"),
        lambda call: _channel(call).stop_hz,
        _set_stop,
    ),
    _setting(
        f"{_SENSE}:FREQuency:CENTer",
        Number(_frequency_limits("center"), "HZ"),
        _center,
        lambda call, value: _set_around(_channel(call), value, _span(call)),
    ),
    _setting(
        f"{_SENSE}:FREQuency:SPAN",
        Number(_span_limits, "HZ"),
        _span,
        lambda call, value: _set_around(_channel(call), _center(call), value),
    ),
    _attribute(f"{_SENSE}:SWEep:POINts", Integer(_points_limits), "points"),
    _attribute(f"{_SENSE}:SWEep:TYPE", Choice("LINear", "LOGarithmic"), "sweep_type"),
    Command(f"{_SENSE}:SWEep:TIME", query=lambda call: number_text(_channel(call).pass_duration_s)),
    *(
        _setting(
            f"{_SENSE}:{word}[:RESolution]",
            _BANDWIDTH,
            lambda call: _channel(call).if_bandwidth_hz,
            _set_bandwidth,
        )
        for word in ("BANDwidth", "BWIDth")
    ),
    _attribute(f"{_SENSE}:AVERage[:STATe]", _BOOLEAN, "averaging"),
    _attribute(f"{_SENSE}:AVERage:COUNt", Integer(Limits(1, _MOST_AVERAGES, 1)), "average_count"),
    _attribute(f"{_SENSE}:AVERage:MODE", Choice("POINt", "SWEep"), "average_mode"),
    Command(f"{_SENSE}:AVERage:CLEar", lambda call: _channel(call).clear_averages()),
    _attribute("SOURce{channel}:POWer:COUPle", _BOOLEAN, "power_coupled"),
    _setting(
        "SOURce{channel}:POWer{port}[:LEVel][:IMMediate][:AMPLitude]",
        Number(_power_limits, "DBM"),
        lambda call: _channel(call).power_dbm[call.suffixes["port"]],
        _set_power,
    ),
)

_SWEEPING: CommandTable = (
    _setting(
        f"{_SENSE}:SWEep:MODE",
        Choice("HOLD", "SINGle", "GROups", "CONTinuous"),
        lambda call: _channel(call).mode,
        _set_mode,
    ),
    _attribute(f"{_SENSE}:SWEep:GROups:COUNt", Integer(Limits(1, _MOST_GROUPS, 1)), "group_count"),
    _setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: _channel(call).mode == "CONT",
        _set_continuous,
    ),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    _setting(
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
        lambda call: string_text(_channel(call).selected or ""),
        takes=(_TEXT,),
    ),
    Command(f"{_CALCULATE}:PARameter:CATalog[:EXTended]", query=_catalog),
    Command(f"{_CALCULATE}:PARameter:DELete:ALL", _delete_all),
    Command(f"{_CALCULATE}:PARameter:DELete[:NAME]", _delete, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:FEED", _feed, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:DELete", lambda call: None),
    Command("DISPlay:WINDow{window}[:STATe]", lambda call: None, takes=(_BOOLEAN,)),
    _setting("DISPlay:ENABle", _BOOLEAN, lambda call: call.device.display, _set_display),
    Command("SYSTem:CHANnels:CATalog", query=_channels_in_use),
    Command(
        "SYSTem:CAPability:HARDware:PORTs:COUNt",
        query=lambda call: integer_text(call.device.bench.ports),
    ),
)

_DATA: CommandTable = (
    Command(f"{_CALCULATE}:DATA:SNP:PORTs", query=_matrix_data, asks=(_TEXT,)),
    Command(f"{_CALCULATE}:DATA", query=_trace_data, asks=(Choice("SDATA", "FDATA"),)),
    Command(f"{_CALCULATE}:X[:VALues]", query=_axis),
    _setting(
        "MMEMory:STORe:TRACe:FORMat:SNP",
        Choice("RI", "MA", "DB"),
        lambda call: call.device.snp_format,
        _set_snp_format,
    ),
    _attribute(f"{_SENSE}:CORRection[:STATe]", _BOOLEAN, "correction"),
    _attribute(f"{_SENSE}:CORRection:EXTension[:STATe]", _BOOLEAN, "extension"),
    _setting(
        f"{_SENSE}:CORRection:EXTension:PORT{{port}}[:TIME]",
        Number(Limits(-_LONGEST_EXTENSION_S, _LONGEST_EXTENSION_S, 0.0), "S"),
        lambda call: _channel(call).extension_s[call.suffixes["port"]],
        _set_extension,
    ),
    _attribute(f"{_CALCULATE}:FSIMulator:STATe", _BOOLEAN, "fixture"),
)

NAMED_MEASUREMENT_COMMANDS: CommandTable = (*_STIMULUS, *_SWEEPING, *_MEASUREMENTS, *_DATA)
