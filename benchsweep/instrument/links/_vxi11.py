"""VXI-11 on the remote-procedure client of a pure Python session (VXI-11 rev. 1.0, IEEE 488.2 rules).

The backend opens the session and closes it; its calls are used one by one. Its own reading is not: it forgets
the end of a message that fills a read exactly, counts time that has passed again at every piece of a long
answer, spins at full load until the time-out when the peer has gone, and takes a lost connection for an error
of input and output.
"""

from __future__ import annotations

import errno
import socket
import struct
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial, wraps
from typing import Any

import pyvisa
from pyvisa.constants import StatusCode
from pyvisa.resources import MessageBasedResource
from pyvisa_py.protocols import rpc, vxi11

from benchsweep.instrument.links._bounded import BoundedTransport
from benchsweep.instrument.links._transport import SLOWEST_BYTES_PER_S, Broken, Stalled

__all__ = ["Vxi11Transport", "vxi11_transport"]

# Error codes of VXI-11 (table B.2) that are no time-out, and what VISA calls them.
_STATUS = {
    3: StatusCode.error_connection_lost,
    4: StatusCode.error_invalid_object,
    8: StatusCode.error_nonsupported_operation,
    9: StatusCode.error_allocation,
    11: StatusCode.error_resource_locked,
    23: StatusCode.error_abort,
}
_TIMED_OUT, _NOT_SUPPORTED = 15, 8
_END_FLAG, _END_REASON = 8, 4
_MESSAGE_AVAILABLE = 0x10
_CLEAR_S = 5.0
# The instrument says itself that nothing came in time; only a dead one says nothing for a second more (which
# is also what the client allows).
_GRACE_S = 1.0
_SMALL_READ = 1 << 12
_CHUNK = 1 << 20
_SMALLEST_WRITE = 256


def _notice_the_end(read_record: Callable[..., bytes]) -> Callable[..., bytes]:
    """Let the backend's reader of replies notice that the peer has gone, also while the session is opened."""

    @wraps(read_record)
    def strict(
        sock: socket.socket, timeout: float | None, read_fun: Any = None, min_packages: int = 0
    ) -> bytes:
        def receive(size: int) -> bytes:
            data = sock.recv(size)
            if not data:
                raise ConnectionResetError(errno.ECONNRESET, "the instrument closed the connection")
            return data

        # A port mapper may end its reply by closing; the backend allows for that.
        return read_record(sock, timeout, read_fun or (None if min_packages else receive), min_packages)

    return strict


if "_recvrecord" in vars(rpc):
    vars(rpc)["_recvrecord"] = _notice_the_end(vars(rpc)["_recvrecord"])


class _StrictSocket(socket.socket):
    """Raises at once when the peer has gone, and when a deadline passes while bytes trickle in."""

    deadline = float("inf")
    given_up = False
    taken = 0

    def recv(self, size: int, flags: int = 0, /) -> bytes:
        if self.given_up:
            raise ConnectionResetError(errno.ECONNRESET, "given up")
        if time.monotonic() > self.deadline:
            raise TimeoutError
        data = super().recv(min(size, _CHUNK), flags)
        if not data:
            raise ConnectionResetError(errno.ECONNRESET, "the instrument closed the connection")
        self.taken += len(data)
        return data

    def sendall(self, data: Any, flags: int = 0, /) -> None:
        if self.given_up:
            raise ConnectionResetError(errno.ECONNRESET, "given up")
        super().sendall(data, flags)


def vxi11_transport(resource: MessageBasedResource) -> Vxi11Transport | None:
    """Return the transport for a VXI-11 session of the pure Python backend, None for any other resource."""
    sessions: Any = getattr(resource.visalib, "sessions", None)
    session: Any = sessions.get(resource.session) if isinstance(sessions, dict) else None
    client: Any = getattr(session, "interface", None)
    if not isinstance(client, vxi11.CoreClient) or not isinstance(client.sock, socket.socket):
        return None
    return Vxi11Transport(resource, client, int(session.link), int(session.max_recv_size))


class Vxi11Transport(BoundedTransport):
    """VXI-11: every message is a call that waits for its reply.

    Parameters
    ----------
    resource
        The open resource.
    client
        Its remote-procedure client.
    link
        Number of the link at the instrument.
    longest_write
        What the instrument takes in one call, in bytes.
    """

    def __init__(self, resource: MessageBasedResource, client: Any, link: int, longest_write: int) -> None:
        super().__init__()
        self._resource = resource
        self._client = client
        self._link = link
        self._longest = max(longest_write, _SMALLEST_WRITE)
        self._sock = _StrictSocket(fileno=client.sock.detach())
        client.sock = self._sock
        self._held = b""
        self._last_piece = False
        self._watches = True

    @property
    def sockets(self) -> tuple[socket.socket, ...]:
        """The socket of the session, for its options."""
        return (self._sock,)

    def send(self, message: bytes, timeout_s: float) -> None:
        for at in range(0, len(message), self._longest):
            piece = message[at : at + self._longest]
            flags = _END_FLAG if at + self._longest >= len(message) else 0
            arguments = (self._link, _milliseconds(timeout_s), 0, flags, piece)
            error, size = self._call(partial(self._client.device_write, *arguments), timeout_s)
            self._check(error, size)
            if size != len(piece):
                raise Broken(f"the instrument took {size} bytes of {len(piece)}")
        self._next_answer()

    def clear(self) -> None:
        wait = _milliseconds(_CLEAR_S)
        error = self._call(lambda: self._client.device_clear(self._link, 0, 0, wait), _CLEAR_S)
        if error != _NOT_SUPPORTED:
            self._check(error, 0)
        self._next_answer()
        # One that says so after a clear says so always: it cannot be watched by this bit.
        self._watches = self._watches and not self.unasked()

    def status(self) -> int | None:
        wait = _milliseconds(_CLEAR_S)
        error, status = self._call(lambda: self._client.device_read_stb(self._link, 0, 0, wait), _CLEAR_S)
        return None if error else int(status)

    def unasked(self) -> bool:
        """Ask the status byte: VXI-11 would hand out an answer that nobody took as the next one."""
        if not self._watches:
            return False
        status = self.status()
        self._watches = status is not None
        return bool(status and status & _MESSAGE_AVAILABLE)

    def close(self) -> None:
        self._sock.deadline = time.monotonic() + _CLEAR_S
        with suppress(pyvisa.errors.Error, rpc.RPCError, OSError, EOFError, ValueError, struct.error):
            self._resource.close()

    def _next_answer(self) -> None:
        super()._next_answer()
        self._held, self._last_piece = b"", False

    def _read(self, view: memoryview, deadline: float) -> int:
        if not self._held and not self._last_piece:
            self._held = self._fetch(max(len(view), _SMALL_READ), deadline)
        new = min(len(self._held), len(view))
        view[:new] = self._held[:new]
        self._held = self._held[new:]
        self._ended = self._last_piece and not self._held
        return new

    def _fetch(self, size: int, deadline: float) -> bytes:
        remaining = deadline - time.monotonic()
        if remaining <= 0.0:
            raise Stalled(0, closed=False)
        wait = _milliseconds(remaining)
        asked = min(size, _CHUNK)
        error, reason, data = self._call(
            lambda: self._client.device_read(self._link, asked, wait, 0, 0, 0), remaining, asked
        )
        self._check(error, reason)
        self._last_piece = bool(reason & _END_REASON)
        if not data and not self._last_piece:
            raise Stalled(0, closed=False)
        return bytes(data)

    def _call(self, action: Callable[[], Any], timeout_s: float, size: int = 0) -> Any:
        """Make one call; it ends, one way or the other, soon after `timeout_s`."""
        self._sock.taken = 0
        self._sock.deadline = time.monotonic() + timeout_s + 2.0 * _GRACE_S + size / SLOWEST_BYTES_PER_S
        try:
            return action()
        except TimeoutError as error:
            raise self._given_up() from error
        except (rpc.RPCError, EOFError, ValueError, struct.error) as error:
            self._sock.given_up = True
            raise Broken(f"what comes is no VXI-11 reply ({' '.join(str(error).split())})") from error
        except OSError:
            self._sock.given_up = True
            raise
        except BaseException:
            # The keyboard: a reply of which a part has been taken cannot be told from the next one.
            self._sock.given_up = bool(self._sock.taken)
            raise

    def _check(self, error: int, told: object) -> None:
        """Raise for an error code; `told` is text when the client made it up for a reply that never came."""
        if not error:
            return
        if isinstance(told, str):
            raise self._given_up()
        if error == _TIMED_OUT:
            raise Stalled(0, closed=False)
        raise pyvisa.errors.VisaIOError(_STATUS.get(error, StatusCode.error_io))

    def _given_up(self) -> Broken:
        self._sock.given_up = True
        stopped = (
            "stopped in the middle of a reply" if self._sock.taken else "does not reply to calls any more"
        )
        return Broken(f"the instrument {stopped}")


def _milliseconds(seconds: float) -> int:
    return max(1, int(1000.0 * seconds))
