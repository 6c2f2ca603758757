"""The last messages on a link, kept so that an error can say what came before it."""

from __future__ import annotations

import time
from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Message", "MessageRing", "make_printable"]

_KEPT = 200
_TEXT_LIMIT = 160
_TAIL_LIMIT = 60


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
        arrows = {"sent": "->", "received": "<-", "note": "--"}
        last = list(self._kept)[-count:]
        return " | ".join(f"{arrows[item.direction]} {_shorten(item.text, _TAIL_LIMIT)}" for item in last)


def make_printable(text: str) -> str:
    """Write control characters as codes: what an instrument sends must not reach a terminal as it is."""
    return text if text.isprintable() else "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)


def _shorten(text: str, limit: int) -> str:
    shown = make_printable(text[: limit + 1])
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"
