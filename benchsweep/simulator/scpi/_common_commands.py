"""Commands that every device has: common commands, SYSTem and STATus."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from benchsweep.simulator.scpi._device import ScpiDevice, Session
from benchsweep.simulator.scpi._status import Register
from benchsweep.simulator.scpi._tree import Call, Command
from benchsweep.simulator.scpi._values import Integer, Limits

__all__ = ["COMMON_COMMANDS"]

_Call = Call[ScpiDevice]
_BYTE: Integer[Any] = Integer(Limits(0, 255, 0))
_WORD: Integer[Any] = Integer(Limits(0, 32767, 0))


def _clear(call: _Call) -> None:
    call.device.status.clear()
    call.device.forget_completion()


async def _operation_complete(call: _Call) -> str | None:
    return "1" if await call.device.wait(_session(call)) else None


async def _wait(call: _Call) -> None:
    await call.device.wait(_session(call))


def _session(call: _Call) -> Session | None:
    return call.session if isinstance(call.session, Session) else None


async def _reset(call: Call[Any]) -> None:
    await call.device.reset()


def _set_event_enable(call: _Call) -> None:
    call.device.status.event_enable = call.arguments[0]


def _set_request_enable(call: _Call) -> None:
    # Bit 6 cannot be enabled: it is the summary itself.
    call.device.status.request_enable = call.arguments[0] & ~64


def _status_byte(call: _Call) -> int:
    return call.device.status.byte(answer_waits=call.device.answer_waits)


def _next_error(call: _Call) -> str:
    text = call.device.status.errors.next()
    return text if call.device.plus_signs else text.removeprefix("+")


def _registers(pattern: str, of: str) -> tuple[Command[Any], ...]:
    """Return the commands of one status register group."""

    def group(call: _Call) -> Register:
        register: Register = getattr(call.device.status, of)
        return register

    def enable(call: _Call) -> None:
        group(call).enable = call.arguments[0]

    return (
        Command(f"{pattern}[:EVENt]", query=lambda call: group(call).read_event()),
        Command(f"{pattern}:CONDition", query=lambda call: group(call).condition),
        Command(f"{pattern}:ENABle", enable, lambda call: group(call).enable, takes=(_WORD,)),
    )


COMMON_COMMANDS: Iterable[Command[Any]] = (
    Command("*CLS", _clear),
    Command(
        "*ESE",
        _set_event_enable,
        lambda call: call.device.status.event_enable,
        takes=(_BYTE,),
    ),
    Command("*ESR", query=lambda call: call.device.status.read_event()),
    Command("*IDN", query=lambda call: call.device.idn),
    Command("*OPC", lambda call: call.device.note_completion(), _operation_complete),
    Command("*RST", _reset),
    Command(
        "*SRE",
        _set_request_enable,
        lambda call: call.device.status.request_enable,
        takes=(_BYTE,),
    ),
    Command("*STB", query=_status_byte),
    Command("*TST", query=lambda call: 0),
    Command("*WAI", _wait),
    Command("SYSTem:ERRor[:NEXT]", query=_next_error),
    Command("SYSTem:ERRor:COUNt", query=lambda call: len(call.device.status.errors)),
    Command("SYSTem:VERSion", query=lambda call: "1999.0"),
    Command("STATus:PRESet", lambda call: call.device.status.preset()),
    *_registers("STATus:OPERation", "operation"),
    *_registers("STATus:QUEStionable", "questionable"),
)
