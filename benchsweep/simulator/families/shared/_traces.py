"""Traces by number, as two families have them: how many there are, what each shows, which is selected.

A new trace shows S11. A trace beyond the count is a suffix out of range.
"""

from __future__ import annotations

from benchsweep.simulator.analyzer import Channel, CommandTable, Instrument, Measured
from benchsweep.simulator.families.shared._parameters import measured_text, parse_parameter
from benchsweep.simulator.families.shared._readings import (
    decibels,
    interleaved,
    padded,
    reading,
)
from benchsweep.simulator.families.shared._settings import channel_of, setting
from benchsweep.simulator.scpi import Answer, Call, Command, Integer, Limits, Name, ScpiFault

__all__ = ["TRACE_COMMANDS", "complex_data", "formatted_data"]

_Call = Call[Instrument]
_MOST_TRACES = 16
_RECEIVERS = ("A", "B", "C", "D", "R1", "R2", "R3", "R4")


def _set_count(call: _Call, count: int) -> None:
    channel = channel_of(call)
    kept = dict(list(channel.measurements.items())[:count])
    for number in range(len(kept) + 1, count + 1):
        kept[str(number)] = (1, 1)
    channel.measurements = kept
    if channel.selected not in kept:
        channel.selected = "1"


def _key(call: _Call) -> str:
    key = str(call.suffixes["trace"])
    count = len(channel_of(call).measurements)
    if key not in channel_of(call).measurements:
        raise ScpiFault(-114, f"trace {key}, there are {count}")
    return key


def _set_parameter(call: _Call, text: str) -> None:
    key = _key(call)
    if text in _RECEIVERS:
        raise ScpiFault(-241, f"{text}: no access to the receivers")
    ports = parse_parameter(text, call.device.bench.ports, underscore=True)
    channel_of(call).measurements[key] = ports


def _parameter(call: _Call) -> str:
    return measured_text(channel_of(call).measurements[_key(call)], "underscore")


def _select(call: _Call) -> None:
    channel_of(call).selected = _key(call)


async def _selected(call: _Call) -> tuple[Channel, Measured]:
    channel = await call.device.fresh(channel_of(call))
    if channel.selected is None or channel.selected not in channel.measurements:
        raise ScpiFault(-221, "no trace selected")
    return channel, channel.measurements[channel.selected]


async def complex_data(call: _Call) -> Answer:
    """Answer real and imaginary parts of the selected trace."""
    return call.device.data(interleaved(reading(*await _selected(call))))


async def formatted_data(call: _Call) -> Answer:
    """Answer the selected trace in decibels, a zero behind each value: as many numbers as complex data."""
    return call.device.data(padded(decibels(reading(*await _selected(call)))))


_PARAMETER = "CALCulate{channel}:PARameter"

TRACE_COMMANDS: CommandTable = (
    setting(
        f"{_PARAMETER}:COUNt",
        Integer(Limits(1, _MOST_TRACES, 1)),
        lambda call: len(channel_of(call).measurements),
        _set_count,
    ),
    setting("CALCulate{channel}:PARameter{trace}:DEFine", Name(), _parameter, _set_parameter),
    Command("CALCulate{channel}:PARameter{trace}:SELect", _select),
)
