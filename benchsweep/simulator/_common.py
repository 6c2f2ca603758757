"""Commands that every family has: common commands, SYSTem, STATus, and the bench's own root."""

from __future__ import annotations

import asyncio

from benchsweep.errors import BenchsweepError
from benchsweep.simulator._connections import ImpossibleConnection
from benchsweep.simulator._instrument import FAULTS, CommandTable, Instrument
from benchsweep.simulator._messages import ScpiFault
from benchsweep.simulator._specimen import load_specimen
from benchsweep.simulator._status import Register
from benchsweep.simulator._tree import Call, Command
from benchsweep.simulator._values import Integer, Limits, Text, string_text

__all__ = ["BENCH_COMMANDS", "COMMON_COMMANDS"]

_Call = Call[Instrument]
_BYTE: Integer[Instrument] = Integer(Limits(0, 255, 0))
_WORD: Integer[Instrument] = Integer(Limits(0, 32767, 0))
_STRING: Text[Instrument] = Text()


def _clear(call: _Call) -> None:
    call.device.status.clear()
    call.device.forget_completion()


async def _operation_complete(call: _Call) -> str | None:
    return "1" if await call.device.wait() else None


async def _wait(call: _Call) -> None:
    await call.device.wait()


async def _reset(call: _Call) -> None:
    await call.device.reset()


async def _abort(call: _Call) -> None:
    await call.device.abort()


def _set_event_enable(call: _Call) -> None:
    call.device.status.event_enable = call.arguments[0]


def _set_request_enable(call: _Call) -> None:
    # Bit 6 cannot be enabled: it is the summary itself.
    call.device.status.request_enable = call.arguments[0] & ~64


def _status_byte(call: _Call) -> int:
    return call.device.status.byte(answer_waits=call.device.answer_waits)


def _next_error(call: _Call) -> str:
    text = call.device.status.errors.next()
    return text if call.device.style.plus_signs else text.removeprefix("+")


def _registers(pattern: str, of: str) -> tuple[Command[Instrument], ...]:
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


COMMON_COMMANDS: CommandTable = (
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
    Command("*OPT", query=lambda call: string_text("simulated")),
    Command("*RST", _reset),
    Command(
        "*SRE",
        _set_request_enable,
        lambda call: call.device.status.request_enable,
        takes=(_BYTE,),
    ),
    Command("*STB", query=_status_byte),
    Command("*TRG", lambda call: call.device.trigger()),
    Command("*TST", query=lambda call: 0),
    Command("*WAI", _wait),
    Command("ABORt", _abort),
    Command("SYSTem:ERRor[:NEXT]", query=_next_error),
    Command("SYSTem:ERRor:COUNt", query=lambda call: len(call.device.status.errors)),
    Command("SYSTem:VERSion", query=lambda call: "1999.0"),
    Command("SYSTem:PRESet", _reset),
    Command("STATus:PRESet", lambda call: call.device.status.preset()),
    *_registers("STATus:OPERation", "operation"),
    *_registers("STATus:QUEStionable", "questionable"),
)


def _connect(call: _Call) -> None:
    try:
        call.device.bench.connect(call.arguments[0])
    except ImpossibleConnection as error:
        raise ScpiFault(-224, str(error)) from error


async def _exchange_specimen(call: _Call) -> None:
    bench = call.device.bench
    try:
        bench.device = await asyncio.to_thread(load_specimen, call.arguments[0], seed=bench.seed)
    except BenchsweepError as error:
        raise ScpiFault(-224, error.message) from error
    bench.specimen = call.arguments[0]


def _arm_fault(call: _Call) -> None:
    if call.arguments[0] not in FAULTS:
        raise ScpiFault(-224, f"{call.arguments[0][:40]}, allowed {', '.join(FAULTS)}")
    call.device.fault = call.arguments[0]


BENCH_COMMANDS: CommandTable = (
    Command(
        "BENCh:CONNect",
        _connect,
        lambda call: string_text(call.device.bench.connections),
        takes=(_STRING,),
    ),
    Command(
        "BENCh:SPECimen",
        _exchange_specimen,
        lambda call: string_text(call.device.bench.specimen),
        takes=(_STRING,),
    ),
    Command("BENCh:FAULt", _arm_fault, lambda call: string_text(call.device.fault), takes=(_STRING,)),
)
