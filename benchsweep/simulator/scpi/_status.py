"""Error queue and status registers of IEEE 488.2 and SCPI (from memory)."""

from __future__ import annotations

from collections import deque
from enum import IntFlag

from benchsweep.simulator.scpi._messages import ERROR_TEXTS, ScpiFault

__all__ = ["ErrorQueue", "EventBit", "OperationBit", "QuestionableBit", "Register", "Status"]

_DEEPEST = 30
_LONGEST_ENTRY = 255


class EventBit(IntFlag):
    """Bits of the standard event status register."""

    OPERATION_COMPLETE = 1
    REQUEST_CONTROL = 2
    QUERY_ERROR = 4
    DEVICE_ERROR = 8
    EXECUTION_ERROR = 16
    COMMAND_ERROR = 32
    USER_REQUEST = 64
    POWER_ON = 128


class OperationBit(IntFlag):
    """Bits of the operation status register that the analyzer sets."""

    SWEEPING = 8
    WAITING_FOR_TRIGGER = 32


class QuestionableBit(IntFlag):
    """Bits of the questionable status register that the analyzer sets."""

    POWER = 8


class ErrorQueue:
    """First in, first out; when it is full, the last entry becomes -350 and newer ones are lost."""

    def __init__(self) -> None:
        self._entries: deque[tuple[int, str]] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def push(self, number: int, detail: str = "") -> None:
        """Add an entry."""
        if len(self._entries) >= _DEEPEST:
            self._entries[-1] = (-350, ERROR_TEXTS[-350])
            return
        text = ERROR_TEXTS[number] + (f";{detail}" if detail else "")
        self._entries.append((number, text.replace('"', "'")[:_LONGEST_ENTRY]))

    def next(self) -> str:
        """Take the oldest entry, spelled as the answer to SYSTem:ERRor?."""
        number, text = self._entries.popleft() if self._entries else (0, "No error")
        return f'{number:+d},"{text}"'

    def clear(self) -> None:
        """Empty the queue."""
        self._entries.clear()


class Register:
    """A condition register with its event register (rising edges) and enable register, 15 bits."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.enable = 0

    def set(self, bit: int, on: bool) -> None:
        """Set or clear a condition bit."""
        if on:
            self.event |= bit & ~self.condition
            self.condition |= bit
        else:
            self.condition &= ~bit

    def read_event(self) -> int:
        """Return the event register, which reading clears."""
        event, self.event = self.event, 0
        return event

    @property
    def summary(self) -> bool:
        """True when an enabled event happened."""
        return bool(self.event & self.enable)


class Status:
    """All status of the instrument."""

    def __init__(self) -> None:
        self.errors = ErrorQueue()
        self.event = int(EventBit.POWER_ON)
        self.event_enable = 0
        self.request_enable = 0
        self.operation = Register()
        self.questionable = Register()

    def report(self, fault: ScpiFault) -> None:
        """Queue an error and set the event bit of its class."""
        self.errors.push(fault.number, fault.detail)
        classes = {
            1: EventBit.COMMAND_ERROR,
            2: EventBit.EXECUTION_ERROR,
            3: EventBit.DEVICE_ERROR,
            4: EventBit.QUERY_ERROR,
        }
        self.event |= classes[-fault.number // 100]

    def read_event(self) -> int:
        """Return the standard event status register, which reading clears."""
        event, self.event = self.event, 0
        return event

    def clear(self) -> None:
        """Do what *CLS does to registers and queue."""
        self.errors.clear()
        self.event = 0
        self.operation.event = self.questionable.event = 0

    def preset(self) -> None:
        """Do what STATus:PRESet does."""
        self.operation.enable = self.questionable.enable = 0

    def byte(self, *, answer_waits: bool) -> int:
        """Return the status byte; bit 6 is the master summary, as *STB? reads it."""
        bits = 4 * bool(len(self.errors))
        bits |= 8 * self.questionable.summary
        bits |= 16 * answer_waits
        bits |= 32 * bool(self.event & self.event_enable)
        bits |= 128 * self.operation.summary
        return bits | (64 if bits & self.request_enable else 0)
