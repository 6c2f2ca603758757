"""How a setting becomes a row of a command table: one line for its command and its query."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from benchsweep.simulator.analyzer import Channel, Instrument
from benchsweep.simulator.scpi import Answer, Call, Command, Form, Integer, Kind, Number, Parameter

__all__ = ["attribute", "channel_of", "device_attribute", "set_continuous", "setting"]

_Call = Call[Instrument]


class _LimitWord(Kind[Instrument]):
    """MIN, MAX or DEF behind a query: the value of the setting that it names."""

    def __init__(self, of: Number[Instrument]) -> None:
        self._of = of

    def decode(self, parameter: Parameter, device: Instrument) -> float:
        self.refuse(parameter, Form.WORD)
        return self._of.decode(parameter, device)

    def encode(self, value: Any) -> str:
        return self._of.encode(value)


def setting(
    pattern: str,
    kind: Kind[Instrument],
    read: Callable[[_Call], Any],
    write: Callable[[_Call, Any], None],
) -> Command[Instrument]:
    """Return a command that sets a value, and whose query answers it (or its limits, for a number)."""

    def setter(call: _Call) -> None:
        write(call, call.arguments[0])

    def getter(call: _Call) -> Answer:
        value = call.arguments[0] if call.arguments else read(call)
        if isinstance(kind, Number):  # the family spells numbers
            return int(value) if isinstance(kind, Integer) else float(value)
        return kind.encode(value)

    asks: tuple[Kind[Instrument], ...] = (_LimitWord(kind),) if isinstance(kind, Number) else ()
    return Command(pattern, setter, getter, takes=(kind,), asks=asks, optional_asks=len(asks))


def channel_of(call: _Call) -> Channel:
    """Return the channel whose number the header carries."""
    return call.device.channels[call.suffixes["channel"]]


def set_continuous(call: _Call, on: bool) -> None:
    """Let the channel sweep by itself, or hold; whoever waits for the end of the sweeping is answered."""
    channel_of(call).mode = "CONT" if on else "HOLD"
    call.device.settle()


def attribute(pattern: str, kind: Kind[Instrument], name: str) -> Command[Instrument]:
    """Return a setting that is an attribute of the channel."""

    def write(call: _Call, value: Any) -> None:
        setattr(channel_of(call), name, value)

    return setting(pattern, kind, lambda call: getattr(channel_of(call), name), write)


def device_attribute(pattern: str, kind: Kind[Instrument], name: str) -> Command[Instrument]:
    """Return a setting that is an attribute of the instrument."""

    def write(call: _Call, value: Any) -> None:
        setattr(call.device, name, value)

    return setting(pattern, kind, lambda call: getattr(call.device, name), write)
