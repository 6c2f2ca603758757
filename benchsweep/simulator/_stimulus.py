"""Settings of the stimulus and the receivers, which the command families spell alike.

Frequency, points, sweep type, IF bandwidth, averaging, source power.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from benchsweep.simulator._channel import Channel
from benchsweep.simulator._instrument import CommandTable, Instrument
from benchsweep.simulator._settings import attribute, channel_of, setting
from benchsweep.simulator._tree import Call, Command
from benchsweep.simulator._values import Boolean, Choice, Integer, Limits, Number

__all__ = ["STIMULUS_COMMANDS"]

_Call = Call[Instrument]
_MOST_AVERAGES = 65_536


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


def _set_bandwidth(call: _Call, value: float) -> None:
    """Take the nearest bandwidth that the hardware has."""
    legal = np.array(call.device.bench.definition.analyzer.if_bandwidths_hz)
    channel_of(call).if_bandwidth_hz = float(legal[np.argmin(np.abs(legal - value))])


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
    channel = channel_of(call)
    ports = tuple(channel.power_dbm) if channel.power_coupled else (call.suffixes["port"],)
    channel.power_dbm.update(dict.fromkeys(ports, value))


def _points_limits(device: Instrument) -> Limits:
    return Limits(1, device.bench.definition.analyzer.max_points, Channel(device.bench).points)


_BOOLEAN: Boolean[Instrument] = Boolean()
_BANDWIDTH: Number[Instrument] = Number(_bandwidth_limits, "HZ")
_SENSE = "[SENSe{channel}]"

STIMULUS_COMMANDS: CommandTable = (
    setting(
        f"{_SENSE}:FREQuency:STARt",
        Number(_frequency_limits("start"), "HZ"),
        lambda call: channel_of(call).start_hz,
        _set_start,
    ),
    setting(
        f"{_SENSE}:FREQuency:STOP",
        Number(_frequency_limits("stop"), "HZ"),
        lambda call: channel_of(call).stop_hz,
        _set_stop,
    ),
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
    attribute(f"{_SENSE}:SWEep:POINts", Integer(_points_limits), "points"),
    attribute(f"{_SENSE}:SWEep:TYPE", Choice("LINear", "LOGarithmic"), "sweep_type"),
    Command(f"{_SENSE}:SWEep:TIME", query=lambda call: channel_of(call).pass_duration_s),
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
    attribute(f"{_SENSE}:AVERage:COUNt", Integer(Limits(1, _MOST_AVERAGES, 1)), "average_count"),
    attribute(f"{_SENSE}:AVERage:MODE", Choice("POINt", "SWEep"), "average_mode"),
    Command(f"{_SENSE}:AVERage:CLEar", lambda call: channel_of(call).clear_averages()),
    attribute("SOURce{channel}:POWer:COUPle", _BOOLEAN, "power_coupled"),
    setting(
        "SOURce{channel}:POWer{port}[:LEVel][:IMMediate][:AMPLitude]",
        Number(_power_limits, "DBM"),
        lambda call: channel_of(call).power_dbm[call.suffixes["port"]],
        _set_power,
    ),
)
