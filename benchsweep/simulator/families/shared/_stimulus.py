"""Settings of the stimulus and the receivers, which the command families spell nearly alike.

Frequency, points, sweep type, IF bandwidth, averaging, source power; and the status of sweeping.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from benchsweep.simulator.analyzer import Channel, CommandTable, Instrument
from benchsweep.simulator.families.shared._settings import attribute, channel_of, setting
from benchsweep.simulator.scpi import (
    Boolean,
    Call,
    Choice,
    Command,
    Integer,
    Limits,
    Number,
    OperationBit,
)

__all__ = ["legal_bandwidth", "stimulus_commands"]

_Call = Call[Instrument]
_DEFAULT_AVERAGES = 65_536


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
    channel = channel_of(call)
    channel.start_hz, channel.stop_hz = value, max(value, channel.stop_hz)


def _set_stop(call: _Call, value: float) -> None:
    """Set the stop; a start above it moves along."""
    channel = channel_of(call)
    channel.start_hz, channel.stop_hz = min(value, channel.start_hz), value


def _set_around(channel: Channel, center_hz: float, span_hz: float) -> None:
    """Set centre and span; a span that would leave the analyzer's range is narrowed."""
    hardware = channel.bench.definition.analyzer
    room = min(center_hz - hardware.min_frequency_hz, hardware.max_frequency_hz - center_hz)
    half = min(0.5 * span_hz, room)
    channel.start_hz, channel.stop_hz = center_hz - half, center_hz + half


def _center(call: _Call) -> float:
    channel = channel_of(call)
    return 0.5 * (channel.start_hz + channel.stop_hz)


def _span(call: _Call) -> float:
    channel = channel_of(call)
    return channel.stop_hz - channel.start_hz


def _bandwidths(device: Instrument) -> tuple[float, ...]:
    return device.style.if_bandwidths_hz or device.bench.definition.analyzer.if_bandwidths_hz


def legal_bandwidth(device: Instrument, value: float) -> float:
    """Return the nearest bandwidth that the analyzer has."""
    legal = np.array(_bandwidths(device))
    return float(legal[np.argmin(np.abs(legal - value))])


def _set_bandwidth(call: _Call, value: float) -> None:
    channel_of(call).if_bandwidth_hz = legal_bandwidth(call.device, value)


def _bandwidth_limits(device: Instrument) -> Limits:
    legal = _bandwidths(device)
    return Limits(min(legal), max(legal), device.bench.definition.preset.if_bandwidth_hz)


def _set_sweep_type(call: _Call, sweep_type: str) -> None:
    channel = channel_of(call)
    channel.check_segments(sweep_type)
    channel.sweep_type = sweep_type


def _start(call: _Call) -> float:
    return _edge(channel_of(call), 0)


def _stop(call: _Call) -> float:
    return _edge(channel_of(call), -1)


def _edge(channel: Channel, place: int) -> float:
    """Return the first or the last frequency; the one set where the sweep is not one of segments."""
    grid = channel.frequency_hz if channel.sweep_type == "SEGM" else np.zeros(0)
    return float(grid[place]) if grid.size else (channel.start_hz, channel.stop_hz)[place]


def _points(call: _Call) -> int:
    """Return the points of the present sweep: of all segments together where it is one of segments."""
    return sum(points for points, _ in channel_of(call).bandwidths_hz)


def _set_points(call: _Call, points: int) -> None:
    channel_of(call).points = points


def _operation_condition(call: _Call) -> int:
    """Return the register of what runs; a channel that sweeps by itself sweeps too."""
    running = any(map(call.device.free_running, call.device.channels.values()))
    return call.device.status.operation.condition | (OperationBit.SWEEPING if running else 0)


def _power_limits(device: Instrument) -> Limits:
    definition = device.bench.definition
    return Limits(
        definition.analyzer.min_power_dbm, definition.analyzer.max_power_dbm, definition.preset.power_dbm
    )


def _set_power(call: _Call, value: float) -> None:
    channel = channel_of(call)
    ports = tuple(channel.power_dbm) if channel.power_coupled else (call.suffixes["port"],)
    channel.power_dbm.update(dict.fromkeys(ports, value))


def _points_limits(device: Instrument) -> Limits:
    return Limits(1, device.bench.definition.analyzer.max_points, Channel(device.bench).points)


_BOOLEAN: Boolean[Instrument] = Boolean()
_BANDWIDTH: Number[Instrument] = Number(_bandwidth_limits, "HZ")
_SENSE = "[SENSe{channel}]"

_FREQUENCY: CommandTable = (
    setting(f"{_SENSE}:FREQuency:STARt", Number(_frequency_limits("start"), "HZ"), _start, _set_start),
    setting(f"{_SENSE}:FREQuency:STOP", Number(_frequency_limits("stop"), "HZ"), _stop, _set_stop),
    setting(
        f"{_SENSE}:FREQuency:CENTer",
        Number(_frequency_limits("center"), "HZ"),
        _center,
        lambda call, value: _set_around(channel_of(call), value, _span(call)),
    ),
    setting(
        f"{_SENSE}:FREQuency:SPAN",
        Number(_span_limits, "HZ"),
        _span,
        lambda call, value: _set_around(channel_of(call), _center(call), value),
    ),
)

_POWER: CommandTable = (
    attribute("SOURce{channel}:POWer:COUPle", _BOOLEAN, "power_coupled"),
    setting(
        "SOURce{channel}:POWer{port}[:LEVel][:IMMediate][:AMPLitude]",
        Number(_power_limits, "DBM"),
        lambda call: channel_of(call).power_dbm[call.suffixes["port"]],
        _set_power,
    ),
)


def stimulus_commands(
    *,
    sweep_types: tuple[str, ...] = ("LINear", "LOGarithmic", "SEGMent"),
    type_headers: tuple[str, ...] = ("SWEep:TYPE",),
    average_modes: tuple[str, ...] = (),
    most_averages: int = _DEFAULT_AVERAGES,
) -> CommandTable:
    """Return the commands of a family.

    Parameters
    ----------
    sweep_types
        Character data of the sweep type; empty: it is always linear and cannot be set.
    type_headers
        How the sweep type is spelled behind ``SENSe``.
    average_modes
        Character data of ``AVERage:MODE``; empty: there is no such command.
    most_averages
        Largest ``AVERage:COUNt``.
    """
    kind: Choice[Instrument] = Choice(*sweep_types)
    types = tuple(
        setting(f"{_SENSE}:{header}", kind, lambda call: channel_of(call).sweep_type, _set_sweep_type)
        for header in (type_headers if sweep_types else ())
    )
    modes = (attribute(f"{_SENSE}:AVERage:MODE", Choice(*average_modes), "average_mode"),)
    return (
        *_FREQUENCY,
        setting(f"{_SENSE}:SWEep:POINts", Integer(_points_limits), _points, _set_points),
        *types,
        Command(f"{_SENSE}:SWEep:TIME", query=lambda call: channel_of(call).stated_duration_s),
        *(
            setting(
                f"{_SENSE}:{word}[:RESolution]",
                _BANDWIDTH,
                lambda call: channel_of(call).if_bandwidth_hz,
                _set_bandwidth,
            )
            for word in ("BANDwidth", "BWIDth")
        ),
        attribute(f"{_SENSE}:AVERage[:STATe]", _BOOLEAN, "averaging"),
        attribute(f"{_SENSE}:AVERage:COUNt", Integer(Limits(1, most_averages, 1)), "average_count"),
        *(modes if average_modes else ()),
        Command(f"{_SENSE}:AVERage:CLEar", lambda call: channel_of(call).clear_averages()),
        *_POWER,
        Command("STATus:OPERation:CONDition", query=_operation_condition),
    )
