"""How any device of the bench takes messages: grammar, command trees, status and errors, overlapped work.

A device is a class built on `ScpiDevice`; what it understands are tables of `Command`, whose parameters are
of the kinds in `_values`. Every device has `COMMON_COMMANDS`, and `FAULT_COMMANDS` by which one thing at a
time goes wrong with it. Nothing here knows what a device measures or switches, nor how it is reached.
"""

from benchsweep.simulator.scpi._common_commands import COMMON_COMMANDS
from benchsweep.simulator.scpi._device import LinkCut, Reply, ScpiDevice, Session, Truncated, version
from benchsweep.simulator.scpi._fault_commands import FAULT_COMMANDS
from benchsweep.simulator.scpi._faults import DROP_LINK, FaultBox, FaultKind
from benchsweep.simulator.scpi._grammar import Form, Parameter
from benchsweep.simulator.scpi._messages import ScpiFault
from benchsweep.simulator.scpi._status import EventBit, OperationBit, QuestionableBit, Status
from benchsweep.simulator.scpi._tree import Answer, Call, Command
from benchsweep.simulator.scpi._values import (
    Boolean,
    Choice,
    Integer,
    Kind,
    Limits,
    Name,
    Number,
    Text,
    number_text,
    string_text,
)

__all__ = [
    "COMMON_COMMANDS",
    "DROP_LINK",
    "FAULT_COMMANDS",
    "Answer",
    "Boolean",
    "Call",
    "Choice",
    "Command",
    "EventBit",
    "FaultBox",
    "FaultKind",
    "Form",
    "Integer",
    "Kind",
    "Limits",
    "LinkCut",
    "Name",
    "Number",
    "OperationBit",
    "Parameter",
    "QuestionableBit",
    "Reply",
    "ScpiDevice",
    "ScpiFault",
    "Session",
    "Status",
    "Text",
    "Truncated",
    "number_text",
    "string_text",
    "version",
]
