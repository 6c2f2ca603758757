"""Commands to the bench itself, under a root of its own: what hands and circumstances do at a real one."""

from __future__ import annotations

import asyncio
from typing import Any

from benchsweep.errors import BenchsweepError
from benchsweep.simulator.analyzer import CommandTable, Instrument
from benchsweep.simulator.bench import ImpossibleConnection
from benchsweep.simulator.scpi import (
    Call,
    Command,
    Limits,
    Number,
    ScpiFault,
    Text,
    number_text,
    string_text,
)
from benchsweep.simulator.specimen import load_specimen

__all__ = ["BENCH_COMMANDS"]

_Call = Call[Instrument]
_TEXT: Text[Any] = Text()
_LONGEST_WAIT_S = 1e6
_STEEPEST_DB, _STEEPEST_PS = 100.0, 1e6
_LARGEST_STEP_K = 200.0


def _connect(call: _Call) -> None:
    bench = call.device.bench
    try:
        bench.connect(call.arguments[0])
    except ImpossibleConnection as error:
        raise ScpiFault(-224, str(error)) from error
    mishap = call.device.faults.take(*bench.possible_mishaps)
    if mishap:
        bench.mishap(mishap)


def _terminate(call: _Call) -> None:
    try:
        call.device.bench.terminate(call.arguments[0])
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
    Command(
        "BENCh:CONNect",
        _connect,
        lambda call: string_text(call.device.bench.connections),
        takes=(_TEXT,),
    ),
    Command(
        "BENCh:TERMinate",
        _terminate,
        lambda call: string_text(call.device.bench.terminators),
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
    Command(
        "BENCh:TEMPerature",
        lambda call: call.device.bench.warm(call.arguments[0]),
        lambda call: float(call.device.bench.warmer_k),
        takes=(Number(Limits(-_LARGEST_STEP_K, _LARGEST_STEP_K, 0.0), "K"),),
    ),
    Command("BENCh:TIMe", query=lambda call: float(call.device.bench.time_s)),
    Command(
        "BENCh:WAIT",
        lambda call: call.device.bench.let_pass(call.arguments[0]),
        takes=(Number(Limits(0.0, _LONGEST_WAIT_S, 0.0), "S"),),
    ),
)
