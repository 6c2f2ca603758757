"""What HiSLIP and VXI-11 have in common: the transport itself marks where a message ends."""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from benchsweep.instrument.links._transport import (
    GLANCE_S,
    LONGEST_LINE,
    SLOWEST_BYTES_PER_S,
    LineTooLong,
    Stalled,
)

__all__ = ["BoundedTransport"]

_TEXT_CHUNK = 1 << 12
# This many bytes behind a block tell whether it ends as it should.
_AFTER_BLOCK = 3


class BoundedTransport:
    """Reads answers whose end the transport marks.

    A text answer is everything up to that end: what a broken instrument puts behind the end of line stays
    part of the answer, where it is seen. Who derives from it gives `_read` and `_next_answer`.
    """

    stream = False

    def __init__(self) -> None:
        self._ended = False

    def _read(self, view: memoryview, deadline: float) -> int:
        """Read into `view` and return how many bytes; `_ended` becomes true with the last, or with none."""
        raise NotImplementedError

    def _next_answer(self) -> None:
        """Go on to the next answer, should there be one."""
        self._ended = False

    def read_line(self, timeout_s: float) -> bytes:
        if self._ended:
            self._next_answer()
        deadline = time.monotonic() + timeout_s
        line = bytearray()
        buffer = memoryview(bytearray(_TEXT_CHUNK))
        while not self._ended:
            line += buffer[: self._read(buffer, deadline)]
            if len(line) > LONGEST_LINE:
                raise LineTooLong
        return bytes(line).removesuffix(b"\n")

    def read_header(self, count: int, timeout_s: float) -> bytes:
        deadline = time.monotonic() + timeout_s
        header = bytearray()
        while len(header) < count and not self._ended:
            buffer = memoryview(bytearray(count - len(header)))
            header += buffer[: self._read(buffer, deadline)]
        return bytes(header)

    def read_body(self, count: int, timeout_s: float) -> tuple[NDArray[np.uint8], bytes]:
        buffer = np.empty(count + _AFTER_BLOCK, np.uint8)
        view = buffer.data
        last = time.monotonic() + timeout_s + count / SLOWEST_BYTES_PER_S
        got = 0
        while got < buffer.size and not self._ended:
            try:
                got += self._read(view[got:], min(last, time.monotonic() + timeout_s))
            except Stalled as stalled:
                raise Stalled(got, closed=stalled.closed) from stalled
        if got < count:
            raise Stalled(got, closed=False, ended=True)
        # Where the end of a message is marked by the transport, the newline may be missing.
        return buffer[:count], bytes(view[count:got]) or b"\n"

    def glance(self) -> bytes:
        buffer = memoryview(bytearray(64))
        if self._ended:
            return b""
        try:
            return bytes(buffer[: self._read(buffer, time.monotonic() + GLANCE_S)])
        except (OSError, Stalled):
            return b""
