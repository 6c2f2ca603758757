"""Segment tables: one command for each property of each segment, or the whole table as one list.

The list form (format 5) and the order of its columns: public driver code and memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from benchsweep.simulator.analyzer import CommandTable, Instrument, Segment, segment_fault
from benchsweep.simulator.families.shared._settings import attribute, channel_of, setting
from benchsweep.simulator.families.shared._stimulus import legal_bandwidth
from benchsweep.simulator.scpi import (
    Answer,
    Boolean,
    Call,
    Command,
    Integer,
    Kind,
    Limits,
    Number,
    ScpiFault,
)

__all__ = ["SEGMENT_COMMANDS", "SEGMENT_LIST_COMMANDS"]

_Call = Call[Instrument]
_MOST_SEGMENTS = 201
_LIST_FORM = 5
_FLAGS = 6
_LEAST_COLUMNS = 3
_ANY: Number[Instrument] = Number(Limits(-1e15, 1e15, 0.0))


def _segment(call: _Call) -> Segment:
    segments = channel_of(call).segments
    number = call.suffixes["segment"]
    if number > len(segments):
        raise ScpiFault(-114, f"segment {number}, there are {len(segments)}")
    return segments[number - 1]


def _add(call: _Call) -> None:
    """Put a new segment at the place that the suffix names; later ones move back."""
    channel = channel_of(call)
    place = call.suffixes["segment"]
    if place > len(channel.segments) + 1 or len(channel.segments) >= _MOST_SEGMENTS:
        raise ScpiFault(-114, f"segment {place}, there are {len(channel.segments)}")
    channel.segments.insert(place - 1, channel.new_segment())


def _delete(call: _Call) -> None:
    channel_of(call).segments.remove(_segment(call))


def _set_start(segment: Segment, value: float) -> None:
    segment.start_hz, segment.stop_hz = value, max(value, segment.stop_hz)


def _set_stop(segment: Segment, value: float) -> None:
    segment.start_hz, segment.stop_hz = min(value, segment.start_hz), value


def _property(
    header: str,
    kind: Kind[Instrument],
    name: str,
    write: Callable[[Segment, Any], None] | None = None,
) -> Command[Instrument]:
    """Return a setting that is an attribute of a segment."""

    def change(call: _Call, value: Any) -> None:
        if write is None:
            setattr(_segment(call), name, value)
        else:
            write(_segment(call), value)

    return setting(f"{_SEGMENT}{header}", kind, lambda call: getattr(_segment(call), name), change)


def _frequency_limits(device: Instrument) -> Limits:
    hardware = device.bench.definition.analyzer
    return Limits(hardware.min_frequency_hz, hardware.max_frequency_hz, hardware.min_frequency_hz)


def _points_limits(device: Instrument) -> Limits:
    return Limits(1, device.bench.definition.analyzer.max_points, 21)


def _bandwidth_limits(device: Instrument) -> Limits:
    definition = device.bench.definition
    legal = definition.analyzer.if_bandwidths_hz
    return Limits(min(legal), max(legal), definition.preset.if_bandwidth_hz)


def _set_bandwidth(call: _Call, value: float) -> None:
    _segment(call).if_bandwidth_hz = legal_bandwidth(call.device, value)


_SENSE = "[SENSe{channel}]"
_SEGMENT = f"{_SENSE}:SEGMent{{segment}}"
_BOOLEAN: Boolean[Instrument] = Boolean()
_FREQUENCY: Number[Instrument] = Number(_frequency_limits, "HZ")

SEGMENT_COMMANDS: CommandTable = (
    Command(f"{_SEGMENT}:ADD", _add),
    Command(f"{_SEGMENT}:DELete:ALL", lambda call: channel_of(call).segments.clear()),
    Command(f"{_SEGMENT}:DELete", _delete),
    Command(f"{_SENSE}:SEGMent:COUNt", query=lambda call: len(channel_of(call).segments)),
    _property("[:STATe]", _BOOLEAN, "on"),
    _property(":FREQuency:STARt", _FREQUENCY, "start_hz", _set_start),
    _property(":FREQuency:STOP", _FREQUENCY, "stop_hz", _set_stop),
    _property(":SWEep:POINts", Integer(_points_limits), "points"),
    *(
        setting(
            f"{_SEGMENT}:{word}[:RESolution]",
            Number(_bandwidth_limits, "HZ"),
            lambda call: _segment(call).if_bandwidth_hz,
            _set_bandwidth,
        )
        for word in ("BANDwidth", "BWIDth")
    ),
    *(
        attribute(f"{_SENSE}:SEGMent:{word}[:RESolution]:CONTrol", _BOOLEAN, "segment_bandwidths")
        for word in ("BANDwidth", "BWIDth")
    ),
)
"""``SEGMent<n>:…``: a property at a time."""


# -- the whole table as one list ---------------------------------------------------------------------------


def _set_list(call: _Call) -> None:
    """Take ``5,<centre/span>,<bandwidth>,<power>,<delay>,<time>,<count>,`` and a row for each segment."""
    form, *flags = (round(value) for value in call.arguments[: 1 + _FLAGS])
    count = flags.pop()
    if form != _LIST_FORM or any(flag not in (0, 1) for flag in flags):
        raise ScpiFault(-224, f"format {form} with flags {','.join(map(str, flags))}")
    around, with_bandwidth, *others = flags
    if not 1 <= count <= _MOST_SEGMENTS:
        raise ScpiFault(-222, f"{count} segments, allowed 1 to {_MOST_SEGMENTS}")
    width = _LEAST_COLUMNS + with_bandwidth + sum(others)
    values = call.arguments[1 + _FLAGS :]
    if len(values) != width * count:
        missing = len(values) < width * count
        raise ScpiFault(-109 if missing else -108, f"{len(values)} values for {count} rows of {width}")
    rows = [values[place : place + width] for place in range(0, len(values), width)]
    channel = channel_of(call)
    segments = [_from_row(call, row, around=bool(around), own=bool(with_bandwidth)) for row in rows]
    fault = segment_fault(segments, channel.definition.analyzer.max_points)
    if fault:
        raise ScpiFault(-222, fault)
    channel.segments = segments
    channel.segment_bandwidths = bool(with_bandwidth)
    channel.segment_flags = (around, with_bandwidth, *others)


def _from_row(call: _Call, row: tuple[float, ...], *, around: bool, own: bool) -> Segment:
    first, second, points = row[:3]
    start, stop = (first - 0.5 * second, first + 0.5 * second) if around else (first, second)
    hardware = call.device.bench.definition.analyzer
    if not hardware.min_frequency_hz <= start <= stop <= hardware.max_frequency_hz:
        raise ScpiFault(-222, f"segment from {start:.12g} to {stop:.12g} Hz")
    if points < 1:
        raise ScpiFault(-222, f"{points:.12g} points in a segment")
    channel = channel_of(call)
    width = legal_bandwidth(call.device, row[3]) if own else channel.if_bandwidth_hz
    return Segment(start, stop, round(points), width)


def _list(call: _Call) -> Answer:
    """Answer the table with the columns that it was set with, as data in the present format."""
    channel = channel_of(call)
    around, own, *others = channel.segment_flags
    power = channel.power_dbm[1]
    values: list[float] = [_LIST_FORM, around, own, *others, len(channel.segments)]
    for one in channel.segments:
        centre, span = 0.5 * (one.start_hz + one.stop_hz), one.stop_hz - one.start_hz
        values += (centre, span) if around else (one.start_hz, one.stop_hz)
        values += (one.points, *([one.if_bandwidth_hz] if own else []))
        columns = (power, 0.0, 0.0)
        values += (value for value, wanted in zip(columns, others, strict=True) if wanted)
    return call.device.data(np.array(values))


_MOST_VALUES = 1 + _FLAGS + _MOST_SEGMENTS * 7

SEGMENT_LIST_COMMANDS: CommandTable = (
    Command(
        f"{_SENSE}:SEGMent:DATA",
        _set_list,
        _list,
        takes=(_ANY,) * _MOST_VALUES,
        optional=_MOST_VALUES - 1 - _FLAGS,
    ),
    Command(f"{_SENSE}:SEGMent:COUNt", query=lambda call: len(channel_of(call).segments)),
    Command(
        f"{_SENSE}:SEGMent:SWEep:POINts",
        query=lambda call: sum(one.points for one in channel_of(call).segments),
    ),
)
"""``SEGMent:DATA`` and questions about the table; power, delay and time of a segment have no effect."""
