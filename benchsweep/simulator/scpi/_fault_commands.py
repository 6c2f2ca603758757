"""Commands by which a fault is armed in any device, under the root of the bench."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from benchsweep.simulator.scpi._device import ScpiDevice
from benchsweep.simulator.scpi._faults import NO_FAULT
from benchsweep.simulator.scpi._messages import ScpiFault
from benchsweep.simulator.scpi._tree import Call, Command
from benchsweep.simulator.scpi._values import Integer, Limits, Number, Text, string_text

__all__ = ["FAULT_COMMANDS"]

_TEXT: Text[Any] = Text()
_MOST_MESSAGES = 1_000_000
_LONGEST_FAULT_S = 3600.0


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
