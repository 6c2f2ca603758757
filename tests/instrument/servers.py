"""Instruments over HiSLIP and VXI-11 that misbehave on purpose, written from the protocols.

Each takes scripts like the instruments on a raw port (``conftest.py``): a function of the message that
returns bytes, nothing, or a list of bytes, pauses in seconds, events that are awaited, and words:
``"close"`` drops the connection, ``"end"`` ends the answer, ``"cut"`` leaves a frame incomplete,
``"raw:…"`` sends bytes without any frame.
"""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Any

Part = bytes | float | str | threading.Event
# How long an event is awaited at most.
_LONGEST_WAIT_S = 20.0
Script = Callable[[str], "bytes | list[Part] | None"]

HEADER = struct.Struct("!2sBBIQ")


def parts_of(answer: bytes | list[Part] | None) -> list[Part]:
    if answer is None:
        return []
    return [answer, "end"] if isinstance(answer, bytes) else [*answer]


def exactly(sock: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        piece = sock.recv(count - len(data))
        if not piece:
            raise ConnectionError
        data += piece
    return data


class Server:
    """Accepts connections on a port of its own, each in a thread."""

    def __init__(self, script: Script) -> None:
        self.script = script
        self.lines: list[str] = []
        self.clears = 0
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._open: list[socket.socket] = []
        self.stopping = threading.Event()
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._open.append(connection)
                threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection: socket.socket) -> None:
        with suppress(OSError, struct.error), connection:
            self.talk(connection)

    def talk(self, connection: socket.socket) -> None:
        raise NotImplementedError

    def drop(self) -> None:
        for connection in self._open:
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def stop(self) -> None:
        self.stopping.set()
        self._listener.close()
        self.drop()


class HislipServer(Server):
    """IVI-6.1: two connections a client, synchronized mode; one client at a time.

    `status` is what the status byte holds besides MAV; None never answers for it. `mav` False leaves that
    out. `unknown_ids` sends every answer without the number of its question. `prefers_overlap` announces
    overlapped mode.
    """

    def __init__(self, script: Script, **options: Any) -> None:
        self.status: int | None = options.get("status", 0)
        self.mav = 0x10 if options.get("mav", True) else 0
        self.unknown_ids = options.get("unknown_ids", False)
        self.prefers_overlap = options.get("prefers_overlap", False)
        self.service_requests = options.get("service_requests", 0)
        self.silent = options.get("silent", "")
        self.max_message = options.get("max_message", 1 << 20)
        self.features: list[int] = []
        self.message_ids: list[int] = []
        self._available = False
        self._partial = b""
        super().__init__(script)

    @property
    def address(self) -> str:
        return f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"

    def talk(self, connection: socket.socket) -> None:
        if self.silent == "greeting":
            self.stopping.wait()
        while not self.stopping.is_set():
            _, kind, control, parameter, size = HEADER.unpack(exactly(connection, HEADER.size))
            payload = exactly(connection, size)
            self._message(connection, kind, control, parameter, payload)

    def _message(
        self, connection: socket.socket, kind: int, control: int, parameter: int, payload: bytes
    ) -> None:
        def reply(kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
            connection.sendall(HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload)

        if kind in (6, 7):
            self._available = self._available and not control & 1
        if kind in (6, 7):
            self.message_ids.append(parameter)
            self._partial += payload
            if kind == 7:
                line, self._partial = self._partial.decode().rstrip("\n"), b""
                self.lines.append(line)
                self._answer(connection, parameter, parts_of(self.script(line)))
        elif kind == 21:
            self._await(parameter)
            for _ in range(self.service_requests):
                reply(20, 0x40)
            self._available = self._available and not control & 1
            if self.status is not None:
                reply(22, (self.status | (self.mav if self._available else 0)) & 0xFF)
        elif kind == 8:
            self.features.append(control)
            self._available = False
            reply(9, control)
        else:
            self._set_up(kind, reply)

    def _await(self, number: int) -> None:
        """Wait for the message that a status query names: the other connection brings it."""
        for _ in range(60):
            if number in self.message_ids or self.stopping.wait(0.005):
                return

    def _set_up(self, kind: int, reply: Callable[..., None]) -> None:
        if kind == 0:
            reply(1, int(self.prefers_overlap), 0x0100_0001)
        elif kind == 17:
            if self.silent == "second":
                self.stopping.wait()
            reply(18)
        elif kind == 15:
            reply(16, payload=struct.pack("!Q", self.max_message))
        elif kind == 19:
            self.clears += 1
            reply(23, int(self.prefers_overlap))

    def _answer(self, connection: socket.socket, number: int, parts: list[Part]) -> None:
        if self.unknown_ids:
            number = 0xFFFF_FFFF
        for index, part in enumerate(parts):
            if isinstance(part, bytes):
                # The last bytes travel with the end, as from most instruments.
                ends = parts[index + 1 : index + 2] == ["end"]
                self._available = True
                size = len(part) + (1000 if parts[index + 1 : index + 2] == ["cut"] else 0)
                connection.sendall(HEADER.pack(b"HS", 7 if ends else 6, 0, number, size) + part)
            elif isinstance(part, float):
                self.stopping.wait(part)
            elif isinstance(part, threading.Event):
                part.wait(_LONGEST_WAIT_S)
            elif part == "close":
                self.drop()
                return
            elif part == "end" and not (index and isinstance(parts[index - 1], bytes)):
                connection.sendall(HEADER.pack(b"HS", 7, 0, number, 0))
            elif part.startswith("raw:"):
                connection.sendall(bytes.fromhex(part[4:]))


class Vxi11Server(Server):
    """VXI-11 core channel on a port of its own, without a port mapper.

    `status` and `mav` as in `HislipServer`; `chunk` is the most that one read returns.
    """

    def __init__(self, script: Script, **options: Any) -> None:
        self.status: int | None = options.get("status", 0)
        self.mav = 0x10 if options.get("mav", True) else 0
        self.chunk = options.get("chunk", 1 << 20)
        self.max_write = options.get("max_write", 1 << 16)
        self.silent = options.get("silent", "")
        self.no_clear = options.get("no_clear", False)
        self.calls: list[int] = []
        self.errors: list[str] = []
        self._pieces: list[Part] = []
        self._partial = b""
        super().__init__(script)

    @property
    def address(self) -> str:
        return f"TCPIP::127.0.0.1,{self.port}::inst0::INSTR"

    def talk(self, connection: socket.socket) -> None:
        while not self.stopping.is_set():
            (mark,) = struct.unpack("!I", exactly(connection, 4))
            record = exactly(connection, mark & 0x7FFF_FFFF)
            number, _, _, _, _, procedure = struct.unpack("!6I", record[:24])
            if self.silent == "greeting" or (self.silent == "calls" and procedure != 10):
                self.stopping.wait()
            self.calls.append(procedure)
            body = self._call(connection, procedure, record[40:])
            if body is None:
                return
            reply = struct.pack("!6I", number, 1, 0, 0, 0, 0) + body
            connection.sendall(struct.pack("!I", 0x8000_0000 | len(reply)) + reply)

    def _call(self, connection: socket.socket, procedure: int, arguments: bytes) -> bytes | None:
        if procedure == 10:
            return struct.pack("!4I", 0, 1, 0, self.max_write)
        if procedure == 11:
            _, _, _, flags, size = struct.unpack("!5I", arguments[:20])
            return self._write(arguments[20 : 20 + size], flags)
        if procedure == 12:
            _, wanted, wait_ms, _, _, _ = struct.unpack("!6I", arguments[:24])
            return self._read(connection, wanted, wait_ms / 1000.0)
        if procedure == 13:
            available = any(isinstance(part, bytes) for part in self._pieces)
            status = self.status
            return struct.pack(
                "!2I", 8 if status is None else 0, (status or 0) | (self.mav if available else 0)
            )
        if procedure == 15:
            self.clears += 1
            self._pieces.clear()
            return struct.pack("!I", 8 if self.no_clear else 0)
        return struct.pack("!I", 0)

    def _write(self, data: bytes, flags: int) -> bytes:
        self._partial += data
        if flags & 8:
            line, self._partial = self._partial.decode().rstrip("\n"), b""
            self.lines.append(line)
            self._pieces += parts_of(self.script(line))
        return struct.pack("!2I", 0, len(data))

    def _read(self, connection: socket.socket, wanted: int, wait_s: float) -> bytes | None:  # noqa: C901
        deadline = time.monotonic() + wait_s
        data = b""
        while self._pieces:
            part = self._pieces[0]
            if isinstance(part, bytes):
                room = min(wanted, self.chunk) - len(data)
                data += part[:room]
                rest = part[room:]
                self._pieces[:1] = [rest] if rest else []
                if rest or len(data) >= min(wanted, self.chunk):
                    ended = self._pieces[:1] == ["end"]
                    if ended:
                        self._pieces.pop(0)
                    return self._reply(0, 4 if ended else 1, data)
            elif isinstance(part, float):
                if data:
                    return self._reply(0, 0, data)
                left = deadline - time.monotonic()
                self.stopping.wait(max(0.0, min(part, left)))
                self._pieces[0] = part - left
                if part > left:
                    return self._reply(15, 0, b"")
                self._pieces.pop(0)
            elif isinstance(part, threading.Event):
                if data:
                    return self._reply(0, 0, data)
                if not part.wait(max(0.0, deadline - time.monotonic())):
                    return self._reply(15, 0, b"")
                self._pieces.pop(0)
            elif part == "end":
                self._pieces.pop(0)
                return self._reply(0, 4, data)
            elif part == "cut":
                # Half a reply, then nothing.
                connection.sendall(struct.pack("!I", 0x8000_0000 | 4096) + bytes(100))
                self.stopping.wait()
            elif part.startswith("raw:"):
                connection.sendall(bytes.fromhex(part[4:]))
                self.stopping.wait()
            else:
                self.drop()
                return None
        if data:
            return self._reply(0, 0, data)
        self.stopping.wait(max(0.0, deadline - time.monotonic()))
        return self._reply(15, 0, b"")

    def _reply(self, error: int, reason: int, data: bytes) -> bytes:
        return struct.pack("!3I", error, reason, len(data)) + data + bytes(-len(data) % 4)


def answers(known: dict[str, Any]) -> Script:
    """Answer as the table says; keep the event enable register, by which a link gets back into step."""
    enable = {"value": "0"}

    def script(line: str) -> Any:
        found: Iterable[Any] = ()
        if line in known:
            return known[line]
        for command in line.split(";"):
            if command.startswith("*ESE "):
                enable["value"] = command[5:]
            elif command == "*ESE?":
                found = f"{enable['value']}\n".encode()
        return found or None

    return script
