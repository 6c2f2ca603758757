"""Commands to the bench itself, under a root of its own: what hands and circumstances do at a real one."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import Any

from benchsweep.errors import BenchsweepError
from benchsweep.simulator._faults import NO_FAULT
from benchsweep.simulator._instrument import CommandTable, Instrument
from benchsweep.simulator._messages import ScpiFault
from benchsweep.simulator._scpi_device import ScpiDevice
from benchsweep.simulator._tree import Call, Command
from benchsweep.simulator._values import (
    Integer,
    Limits,
    Number,
    Text,
    number_text,
    string_text,
)
from benchsweep.simulator.bench import ImpossibleConnection
from benchsweep.simulator.specimen import load_specimen

__all__ = ["BENCH_COMMANDS", "FAULT_COMMANDS"]

_Call = Call[Instrument]
_TEXT: Text[Any] = Text()
_MOST_MESSAGES = 1_000_000
_LONGEST_FAULT_S = 3600.0
_LONGEST_WAIT_S = 1e6
_STEEPEST_DB, _STEEPEST_PS = 100.0, 1e6


def _arm_fault(call: Call[ScpiDevice]) -> None:
    name, *rest = call.arguments
    after = rest[0] if rest else 0
    seconds = rest[1] if len(rest) > 1 else None
    known = call.device.faults.kinds
    if name != NO_FAULT and name not in known:
        raise ScpiFault(-224, f"{name[:40]}, allowed {NO_FAULT}, {', '.join(known)}")
    if call.device.lacks(name):
        raise ScpiFault(-241, f"{name}: this analyzer has none")
    if name == NO_FAULT:
        call.device.repair()
    call.device.faults.arm(name, after, seconds, call.session)


FAULT_COMMANDS: Iterable[Command[Any]] = (
    Command(
        "BENCh:FAULt",
        _arm_fault,
        lambda call: string_text(call.device.faults.armed),
        takes=(_TEXT, Integer(Limits(0, _MOST_MESSAGES, 0)), Number(Limits(0.0, _LONGEST_FAULT_S, 0.6), "S")),
        optional=2,
    ),
    Command("BENCh:FAULt:CATalog", query=lambda call: string_text(",".join(call.device.faults.kinds))),
    Command("BENCh:FAULt:COUNt", query=lambda call: call.device.faults.struck),
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


BENCH_COMMANDS: CommandTable = (
    *FAULT_COMMANDS,
    Command(
        "BENCh:CONNect",
        _connect,
        lambda call: string_text(call.device.bench.connections),
        takes=(_TEXT,),
    ),
    Command(
        "BENCh:SPECimen",
        _exchange_specimen,
        lambda call: string_text(call.device.bench.specimen),
        takes=(_TEXT,),
    ),
    Command(
        "BENCh:DRIFt",
        lambda call: call.device.bench.set_slope(*call.arguments),
        lambda call: ",".join(map(number_text, call.device.bench.slope)),
        takes=(
            Number(Limits(-_STEEPEST_DB, _STEEPEST_DB, 0.0)),
            Number(Limits(-_STEEPEST_PS, _STEEPEST_PS, 0.0)),
        ),
    ),
    Command("BENCh:TIMe", query=lambda call: float(call.device.bench.time_s)),
    Command(
        "BENCh:WAIT",
        lambda call: call.device.bench.let_pass(call.arguments[0]),
        takes=(Number(Limits(0.0, _LONGEST_WAIT_S, 0.0), "S"),),
    ),
)
