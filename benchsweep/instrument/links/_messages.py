"""The last messages on a link, kept so that an error can say what came before it."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import wraps
from typing import Concatenate, Literal, ParamSpec, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import InstrumentError

__all__ = ["HasMessages", "Message", "MessageRing", "carries_messages", "make_printable", "with_messages"]

_KEPT = 200
_TEXT_LIMIT = 160
_TAIL_LIMIT = 60
_ARROWS = {"sent": "->", "received": "<-", "note": "--"}


@dataclass(frozen=True, slots=True)
class Message:
    """One message on the link.

    Parameters
    ----------
    at
        Seconds since the epoch (`time.time`).
    direction
        ``sent`` to the instrument, ``received`` from it, or a ``note`` of the link itself.
    text
        The message, shortened; a binary block as its length and the XOR of its 64-bit words.
    """

    at: float
    direction: Literal["sent", "received", "note"]
    text: str

    def line(self) -> str:
        """Return the message as a line of text: time (UTC, to the millisecond), arrow, text."""
        at = datetime.fromtimestamp(self.at, UTC).isoformat(timespec="milliseconds")
        return f"{at} {_ARROWS[self.direction]} {self.text}"


class MessageRing:
    """Keeps the last 200 messages."""

    def __init__(self) -> None:
        self._kept: deque[Message] = deque(maxlen=_KEPT)

    def sent(self, text: str) -> None:
        """Note a message to the instrument."""
        self._kept.append(Message(time.time(), "sent", _shorten(text, _TEXT_LIMIT)))

    def received(self, text: str) -> None:
        """Note a text answer."""
        self._kept.append(Message(time.time(), "received", _shorten(text, _TEXT_LIMIT)))

    def received_block(self, data: NDArray[np.uint8]) -> None:
        """Note a binary block.

        The fingerprint is an XOR fold: a cryptographic hash would cost more time than reading the block.
        """
        whole = data[: data.size // 8 * 8].view(np.uint64)
        fold = int(np.bitwise_xor.reduce(whole)) if whole.size else 0
        text = f"block of {data.size} bytes, xor64 {fold:016x}"
        self._kept.append(Message(time.time(), "received", text))

    def note(self, text: str) -> None:
        """Note something that the link did by itself."""
        self._kept.append(Message(time.time(), "note", text))

    def all(self) -> tuple[Message, ...]:
        """Return what is kept, oldest first."""
        return tuple(self._kept)

    def tail(self, count: int = 4) -> str:
        """Return the last messages on one line, for a hint."""
        last = list(self._kept)[-count:]
        return " | ".join(f"{_ARROWS[item.direction]} {_shorten(item.text, _TAIL_LIMIT)}" for item in last)


class HasMessages(Protocol):
    """Whatever keeps the last messages as lines of text: a link."""

    def messages(self) -> tuple[str, ...]:
        """Return the last messages as lines of text, oldest first."""


@contextmanager
def with_messages(link: HasMessages) -> Iterator[None]:
    """Give every InstrumentError that leaves the block the last messages on `link`, once.

    An error that carries messages already keeps them: they are nearer to what happened.
    """
    try:
        yield
    except InstrumentError as error:
        if not error.messages:
            error.messages = link.messages()
        raise


_P = ParamSpec("_P")
_R = TypeVar("_R")
_S = TypeVar("_S", bound=HasMessages)


def carries_messages(
    method: Callable[Concatenate[_S, _P], _R],
) -> Callable[Concatenate[_S, _P], _R]:
    """Do as `with_messages` for a method of something that keeps messages itself."""

    @wraps(method)
    def wrapped(self: _S, /, *args: _P.args, **kwargs: _P.kwargs) -> _R:
        with with_messages(self):
            return method(self, *args, **kwargs)

    return wrapped


def make_printable(text: str) -> str:
    """Write control characters as codes: what an instrument sends must not reach a terminal as it is."""
    return text if text.isprintable() else "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)


def _shorten(text: str, limit: int) -> str:
    shown = make_printable(text[: limit + 1])
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"
