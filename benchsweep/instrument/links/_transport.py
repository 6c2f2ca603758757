"""How bytes get to the instrument and back: any VISA resource, and the byte stream of a TCP socket.

All are opened and closed by pyvisa. A socket resource of the pure Python backend is then read and written
on the session's own socket: that backend reads binary blocks at an eighth of the speed, spins at full load
when the peer has gone, drops what it has read when a time-out strikes, and offers no way to switch Nagle's
algorithm off. Its HiSLIP and VXI-11 sessions have transports of their own for like reasons (`_hislip`,
`_vxi11`). Everything else goes through pyvisa's public interface.
"""

from __future__ import annotations

import errno
import select
import socket
import time
from contextlib import suppress
from typing import Any, NoReturn, Protocol

import numpy as np
import pyvisa
from numpy.typing import NDArray
from pyvisa import constants
from pyvisa.resources import MessageBasedResource

__all__ = [
    "GLANCE_S",
    "LONGEST_LINE",
    "SLOWEST_BYTES_PER_S",
    "Broken",
    "LineTooLong",
    "SocketTransport",
    "Stalled",
    "Transport",
    "VisaTransport",
    "gone",
    "session_socket",
    "waiting",
]

LONGEST_LINE = 1 << 20
SLOWEST_BYTES_PER_S = 100_000.0
"""No sane link is slower than this; it bounds how long a trickling block may take."""
GLANCE_S = 0.1

_TEXT_CHUNK = 1 << 16
# Where the transport marks the end of a message, this many bytes more tell whether a block ends as it should.
_AFTER_BLOCK = 3


class Stalled(Exception):
    """Nothing more comes: the time ran out, or the peer closed the connection.

    Parameters
    ----------
    received
        Bytes of the answer that did come; None when the backend does not tell.
    closed
        True when the peer closed the connection.
    ended
        True when the transport marked the end of the message: no more would have come.
    """

    def __init__(self, received: int | None, *, closed: bool, ended: bool = False) -> None:
        super().__init__(f"received {received}, closed {closed}, ended {ended}")
        self.received = received
        self.closed = closed
        self.ended = ended


class Broken(Exception):
    """What comes does not follow the protocol of the connection, which cannot be used any more."""


class LineTooLong(Exception):
    """More than 1 MiB came without an end of line."""


class Transport(Protocol):
    """Bytes to and from the instrument. Raises what the backend raises; `Link` gives it our names."""

    stream: bool
    """True for a byte stream without message boundaries (raw TCP)."""

    def send(self, message: bytes, timeout_s: float) -> None:
        """Send one message, its terminator included."""

    def read_line(self, timeout_s: float) -> bytes:
        """Read up to the end of line, which is left out."""

    def read_header(self, count: int, timeout_s: float) -> bytes:
        """Read `count` bytes of a block header; fewer when the message ends before."""

    def read_body(self, count: int, timeout_s: float) -> tuple[NDArray[np.uint8], bytes]:
        """Read `count` bytes and what ends the message after them."""

    def glance(self) -> bytes:
        """Return what is there already, for an error message; at most 64 bytes, waits at most 0.1 s."""

    def clear(self) -> None:
        """Device clear, where the transport has one; takes at most 5 s."""

    def status(self) -> int | None:
        """Read the status byte beside the messages; None where the transport has none."""

    def unasked(self) -> bool:
        """Tell whether something is there that nobody asked for; never waits."""

    def close(self) -> None:
        """Close; never raises for a connection that is gone."""


def session_socket(resource: MessageBasedResource) -> socket.socket | None:
    """Return the TCP socket behind a ``…::SOCKET`` resource of the pure Python backend, else None."""
    if resource.resource_class != "SOCKET":
        return None
    sessions: Any = getattr(resource.visalib, "sessions", None)
    found = sessions.get(resource.session) if isinstance(sessions, dict) else None
    interface = getattr(found, "interface", None)
    return interface if isinstance(interface, socket.socket) else None


def waiting(sock: socket.socket) -> bool:
    """Tell whether bytes are there to be read; the end of the connection is none."""
    try:
        sock.settimeout(0.0)
        return bool(sock.recv(1, socket.MSG_PEEK))
    except OSError:
        return False  # nothing there; whatever is wrong with the socket, the next exchange gives it a name


def gone(error: TimeoutError) -> bool:
    """Tell a peer that does not acknowledge any more (keepalive, retransmissions) from one that is busy."""
    return error.errno == errno.ETIMEDOUT


class SocketTransport:
    """The byte stream of a ``TCPIP::…::SOCKET`` resource.

    Parameters
    ----------
    resource
        The open resource; it owns the socket.
    sock
        Its socket.
    """

    stream = True

    def __init__(self, resource: MessageBasedResource, sock: socket.socket) -> None:
        self._resource = resource
        self._sock = sock
        self._held = bytearray()

    def send(self, message: bytes, timeout_s: float) -> None:
        self._sock.settimeout(timeout_s)
        self._sock.sendall(message)

    def read_line(self, timeout_s: float) -> bytes:
        deadline = time.monotonic() + timeout_s
        searched = 0
        while (end := self._held.find(b"\n", searched)) < 0:
            searched = len(self._held)
            if searched > LONGEST_LINE:
                self._held.clear()
                raise LineTooLong
            self._held += self._receive(_TEXT_CHUNK, deadline)
        line = bytes(self._held[:end])
        del self._held[: end + 1]
        return line

    def read_header(self, count: int, timeout_s: float) -> bytes:
        deadline = time.monotonic() + timeout_s
        while len(self._held) < count:
            self._held += self._receive(count - len(self._held), deadline)
        header = bytes(self._held[:count])
        del self._held[:count]
        return header

    def read_body(self, count: int, timeout_s: float) -> tuple[NDArray[np.uint8], bytes]:
        # One byte more: the end of line that closes the message.
        buffer = np.empty(count + 1, np.uint8)
        view = buffer.data
        got = min(len(self._held), count + 1)
        view[:got] = self._held[:got]
        del self._held[:got]
        last = time.monotonic() + timeout_s + count / SLOWEST_BYTES_PER_S
        while got <= count:
            deadline = min(last, time.monotonic() + timeout_s)
            self._arm(deadline, got)
            try:
                new = self._sock.recv_into(view[got:])
            except TimeoutError as error:
                raise Stalled(got, closed=gone(error)) from error
            if new == 0:
                raise Stalled(got, closed=True)
            got += new
        end = bytes(view[count:])
        if end == b"\r":
            end += self.read_header(1, timeout_s)
        return buffer[:count], end

    def glance(self) -> bytes:
        try:
            if not self._held and select.select([self._sock], [], [], GLANCE_S)[0]:
                self._held += self._sock.recv(64)
        except OSError:
            return bytes(self._held[:64])
        return bytes(self._held[:64])

    def clear(self) -> None:
        """A byte stream has no device clear; the link resynchronises with a token instead."""

    def status(self) -> int | None:
        return None

    def unasked(self) -> bool:
        return bool(self._held) or waiting(self._sock)

    def close(self) -> None:
        self._resource.close()

    def _receive(self, count: int, deadline: float) -> bytes:
        self._arm(deadline, len(self._held))
        try:
            data = self._sock.recv(count)
        except TimeoutError as error:
            raise Stalled(len(self._held), closed=gone(error)) from error
        if not data:
            raise Stalled(len(self._held), closed=True)
        return data

    def _arm(self, deadline: float, received: int) -> None:
        remaining = deadline - time.monotonic()
        if remaining <= 0.0:
            raise Stalled(received, closed=False)
        self._sock.settimeout(remaining)


class VisaTransport:
    """Any message-based VISA resource, through pyvisa's public interface only.

    Parameters
    ----------
    resource
        The open resource, with its terminations set.
    """

    def __init__(self, resource: MessageBasedResource) -> None:
        self._resource = resource
        self.stream = resource.resource_class == "SOCKET"

    def send(self, message: bytes, timeout_s: float) -> None:
        self._set_timeout(timeout_s)
        self._resource.write_raw(message)

    def read_line(self, timeout_s: float) -> bytes:
        self._set_timeout(timeout_s)
        line = bytearray()
        full = constants.StatusCode.success_max_count_read
        resource = self._resource
        with resource.ignore_warning(constants.StatusCode.success_device_not_present, full):
            status = full
            while status == full and not line.endswith(b"\n"):
                if len(line) > LONGEST_LINE:
                    raise LineTooLong
                try:
                    chunk, status = resource.visalib.read(resource.session, _TEXT_CHUNK)
                except pyvisa.errors.VisaIOError as error:
                    self._raise_stalled(error)
                line += chunk
        return bytes(line).removesuffix(b"\n")

    def read_header(self, count: int, timeout_s: float) -> bytes:
        self._set_timeout(timeout_s)
        return self._read_binary(count)

    def read_body(self, count: int, timeout_s: float) -> tuple[NDArray[np.uint8], bytes]:
        self._set_timeout(timeout_s)
        raw = self._read_binary(count + (1 if self.stream else _AFTER_BLOCK))
        data = np.frombuffer(raw, np.uint8, count=min(count, len(raw)))
        if data.size < count:
            raise Stalled(data.size, closed=False, ended=not self.stream)
        end = raw[count:]
        if self.stream and end == b"\r":
            end += self._read_binary(1)
        # Where the end of a message is marked by the transport, the newline may be missing.
        return data, end if self.stream or end else b"\n"

    def glance(self) -> bytes:
        try:
            return self.read_line(GLANCE_S)[:64]
        except (pyvisa.errors.VisaIOError, OSError, Stalled, LineTooLong):
            return b""

    def clear(self) -> None:
        if not self.stream:
            self._resource.clear()

    def status(self) -> int | None:
        if self.stream:
            return None
        with suppress(pyvisa.errors.Error, NotImplementedError):
            return int(self._resource.read_stb())
        return None

    def unasked(self) -> bool:
        return False

    def close(self) -> None:
        self._resource.close()

    def _read_binary(self, count: int) -> bytes:
        """Read `count` bytes in one low-level read, or fewer when the transport marks the end before."""
        resource = self._resource
        # A newline inside the data must not end the read.
        resource.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, False)
        try:
            return resource.read_bytes(count, chunk_size=max(count, 1), break_on_termchar=True)
        except pyvisa.errors.VisaIOError as error:
            self._raise_stalled(error)
        finally:
            resource.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, True)

    def _raise_stalled(self, error: pyvisa.errors.VisaIOError) -> NoReturn:
        if error.error_code != constants.StatusCode.error_timeout:
            raise error
        raise Stalled(None, closed=_peer_closed(session_socket(self._resource))) from error

    def _set_timeout(self, timeout_s: float) -> None:
        self._resource.timeout = max(1.0, timeout_s * 1000.0)


def _peer_closed(sock: socket.socket | None) -> bool:
    """Tell whether the peer closed the connection, without taking a byte from it."""
    if sock is None:
        return False
    try:
        readable = bool(select.select([sock], [], [], 0.0)[0])
        return readable and sock.recv(1, socket.MSG_PEEK) == b""
    except OSError:
        return True
