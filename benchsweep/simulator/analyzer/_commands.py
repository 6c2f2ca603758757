"""Commands that every analyzer has, of whatever family."""

from __future__ import annotations

from benchsweep.simulator.analyzer._instrument import CommandTable, Instrument
from benchsweep.simulator.scpi import Call, Command, string_text

__all__ = ["ANALYZER_COMMANDS"]

_Call = Call[Instrument]


async def _reset(call: _Call) -> None:
    await call.device.reset()


async def _abort(call: _Call) -> None:
    await call.device.abort()


ANALYZER_COMMANDS: CommandTable = (
    Command("*OPT", query=lambda call: string_text("simulated")),
    Command("*TRG", lambda call: call.device.trigger()),
    Command("ABORt", _abort),
    Command("SYSTem:PRESet", _reset),
)
