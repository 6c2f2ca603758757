"""HiSLIP on the two sockets of a pure Python session (IVI-6.1, synchronized mode).

The backend opens the session and closes it. In between its own reading and writing is not used: a time-out
in the middle of a message leaves it out of step with the protocol for good; a device clear fails whenever an
answer is still under way; a peer that drops while an old answer is discarded makes it spin for ever; messages
that the instrument may send at any time on the second channel are errors to it; and a time-out counts from
the last byte, so that a trickling answer never ends.
"""

from __future__ import annotations

import socket
import struct
import time
from dataclasses import dataclass
from typing import Any

from pyvisa.resources import MessageBasedResource
from pyvisa_py.protocols import hislip as backend

from benchsweep.instrument.links._bounded import BoundedTransport
from benchsweep.instrument.links._transport import Broken, Stalled, gone, waiting

__all__ = ["HislipTransport", "hislip_transport"]

_HEADER = struct.Struct("!2sBBIQ")
_FATAL_ERROR, _ERROR, _DATA, _DATA_END, _CLEAR_COMPLETE, _CLEAR_DONE = 2, 3, 6, 7, 8, 9
_ASYNC_CLEAR, _ASYNC_STATUS, _ASYNC_STATUS_IS, _ASYNC_CLEAR_DONE = 19, 21, 22, 23
_FIRST_ID = 0xFFFF_FF00
_ANY_ID = 0xFFFF_FFFF
_CLEAR_S = 5.0
_STATUS_S = 1.0
_SMALLEST_MESSAGE = 256
_LONGEST_TEXT = 512
_DISCARD_CHUNK = 1 << 16

# The backend prints a line when an instrument prefers overlapped mode; standard output carries our results.
vars(backend)["print"] = lambda *_: None


def hislip_transport(resource: MessageBasedResource) -> HislipTransport | None:
    """Return the transport for a HiSLIP session of the pure Python backend, None for any other resource."""
    sessions: Any = getattr(resource.visalib, "sessions", None)
    session = sessions.get(resource.session) if isinstance(sessions, dict) else None
    interface: Any = getattr(session, "interface", None)
    sync, second = getattr(interface, "_sync", None), getattr(interface, "_async", None)
    if not isinstance(sync, socket.socket) or not isinstance(second, socket.socket):
        return None
    return HislipTransport(resource, sync, second, int(getattr(interface, "max_msg_size", _SMALLEST_MESSAGE)))


@dataclass(frozen=True, slots=True)
class _Header:
    kind: int
    control: int
    parameter: int
    size: int


class _Channel:
    """One of the two sockets; a time-out anywhere leaves it where it was in the stream of messages."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock = sock
        self.left = 0
        """Bytes of the present message that have not been taken."""
        self._head = bytearray()

    def send(self, kind: int, control: int, parameter: int, payload: bytes, timeout_s: float) -> None:
        self.sock.settimeout(timeout_s)
        try:
            self.sock.sendall(_HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload)
        except TimeoutError as error:
            raise Broken("the instrument takes no more messages") from error

    def header(self, deadline: float) -> _Header:
        """Skip what is left of the present message and return the header of the next one."""
        self._skip(deadline)
        while len(self._head) < _HEADER.size:
            self._head += self._receive(_HEADER.size - len(self._head), deadline)
        prologue, kind, control, parameter, size = _HEADER.unpack(self._head)
        self._head.clear()
        if prologue != b"HS":
            raise Broken("what comes is no HiSLIP message")
        self.left = size
        if kind in (_FATAL_ERROR, _ERROR):
            raise Broken(f"the instrument reports a HiSLIP error: {self._text(deadline)}")
        return _Header(kind, control, parameter, size)

    def into(self, view: memoryview, deadline: float) -> int:
        """Take bytes of the present message into `view`; return how many, at least one."""
        self._arm(deadline)
        try:
            new = self.sock.recv_into(view[: min(self.left, len(view))])
        except TimeoutError as error:
            raise Stalled(0, closed=gone(error)) from error
        if new == 0:
            raise Stalled(0, closed=True)
        self.left -= new
        return new

    def _skip(self, deadline: float) -> None:
        if self.left:
            nowhere = memoryview(bytearray(min(self.left, _DISCARD_CHUNK)))
            while self.left:
                self.into(nowhere, deadline)

    def _text(self, deadline: float) -> str:
        text = bytearray()
        buffer = memoryview(bytearray(_LONGEST_TEXT))
        while self.left and len(text) < _LONGEST_TEXT:
            text += buffer[: self.into(buffer, deadline)]
        return ascii(text.decode("ascii", "replace"))

    def _receive(self, count: int, deadline: float) -> bytes:
        self._arm(deadline)
        try:
            data = self.sock.recv(count)
        except TimeoutError as error:
            raise Stalled(0, closed=gone(error)) from error
        if not data:
            raise Stalled(0, closed=True)
        return data

    def _arm(self, deadline: float) -> None:
        remaining = deadline - time.monotonic()
        if remaining <= 0.0:
            raise Stalled(0, closed=False)
        self.sock.settimeout(remaining)


class HislipTransport(BoundedTransport):
    """HiSLIP in synchronized mode: an answer to an earlier question is known by its number and discarded.

    Parameters
    ----------
    resource
        The open resource; it owns the sockets.
    sync, second
        Its synchronous and its asynchronous channel.
    longest_message
        What the instrument takes in one message, in bytes.
    """

    def __init__(
        self, resource: MessageBasedResource, sync: socket.socket, second: socket.socket, longest_message: int
    ) -> None:
        super().__init__()
        self._resource = resource
        self._sync = _Channel(sync)
        self._async = _Channel(second)
        self._longest = max(longest_message, _SMALLEST_MESSAGE) - _HEADER.size
        self._next_id = _FIRST_ID
        self._asked = _FIRST_ID
        self._delivered = 0
        self._ours = self._within = self._final = False
        self._has_status = True

    @property
    def sockets(self) -> tuple[socket.socket, ...]:
        """The sockets of the session, for their options."""
        return self._sync.sock, self._async.sock

    def send(self, message: bytes, timeout_s: float) -> None:
        pieces = [message[at : at + self._longest] for at in range(0, len(message), self._longest)]
        for piece in pieces:
            kind = _DATA_END if piece is pieces[-1] else _DATA
            self._sync.send(kind, self._delivered, self._next_id, piece, timeout_s)
            self._asked = self._next_id
            self._next_id = (self._next_id + 2) & 0xFFFF_FFFF
            self._delivered = 0
        self._next_answer()

    def clear(self) -> None:
        deadline = time.monotonic() + _CLEAR_S
        self._async.send(_ASYNC_CLEAR, 0, 0, b"", _CLEAR_S)
        while self._async.header(deadline).kind != _ASYNC_CLEAR_DONE:
            pass
        # No feature is asked for: overlapped messages are not, whatever the instrument prefers.
        self._sync.send(_CLEAR_COMPLETE, 0, 0, b"", _CLEAR_S)
        while self._sync.header(deadline).kind != _CLEAR_DONE:
            pass
        self._next_id = self._asked = _FIRST_ID
        self._delivered = 0
        self._next_answer()

    def status(self) -> int | None:
        if not self._has_status:
            return None
        # That the answer was taken is said again with the next message: some look for it only there.
        self._async.send(_ASYNC_STATUS, self._delivered, self._asked, b"", _STATUS_S)
        deadline = time.monotonic() + _STATUS_S
        try:
            while True:
                header = self._async.header(deadline)
                if header.kind == _ASYNC_STATUS_IS:
                    return header.control
        except Stalled as stalled:
            if stalled.closed:
                raise
            self._has_status = False  # a late answer would be taken for the next one
            return None

    def unasked(self) -> bool:
        # Its number tells, unless the instrument sends answers without: that is allowed.
        return waiting(self._sync.sock)

    def close(self) -> None:
        self._resource.close()

    def _next_answer(self) -> None:
        super()._next_answer()
        self._ours = self._within = self._final = False

    def _read(self, view: memoryview, deadline: float) -> int:
        while not self._ended:
            if self._ours and self._sync.left:
                new = self._sync.into(view, deadline)
                self._ended = self._final and not self._sync.left
                self._delivered = int(self._ended)
                return new
            if self._within and self._final:
                self._ended, self._delivered = True, 1
                return 0
            header = self._sync.header(deadline)
            # What belongs to no answer, or to an earlier one, may come between the pieces of this one.
            self._ours = header.kind in (_DATA, _DATA_END) and header.parameter in (self._asked, _ANY_ID)
            if self._ours:
                self._within, self._final = True, header.kind == _DATA_END
        return 0
