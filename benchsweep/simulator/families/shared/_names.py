"""Measurements found by name, as two families have them, and the channels that have any."""

from __future__ import annotations

from benchsweep.simulator.analyzer import Channel, Instrument
from benchsweep.simulator.families.shared._settings import channel_of
from benchsweep.simulator.scpi import Call, ScpiFault, string_text

__all__ = ["channels_in_use", "delete", "named", "select"]

_Call = Call[Instrument]


def named(channel: Channel, name: str) -> str:
    """Return `name` when the channel has a measurement of that name.

    Raises
    ------
    ScpiFault
        -224: it has none.
    """
    if name not in channel.measurements:
        raise ScpiFault(-224, f"{name[:40]}: nothing of that name")
    return name


def select(call: _Call) -> None:
    """Select the measurement that the argument names."""
    channel = channel_of(call)
    channel.selected = named(channel, call.arguments[0])


def delete(call: _Call) -> None:
    """Delete the measurement that the argument names."""
    channel = channel_of(call)
    name = named(channel, call.arguments[0])
    del channel.measurements[name]
    channel.selected = None if channel.selected == name else channel.selected


def channels_in_use(call: _Call) -> str:
    """Answer the numbers of the channels that have measurements."""
    used = [str(number) for number, channel in call.device.channels.items() if channel.measurements]
    return string_text(",".join(used))
