"""Small instruments for the tests of this room: scripted ones on a real TCP port."""

from __future__ import annotations

import importlib.util
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from benchsweep.instrument import Link

Answer = Callable[[str], "bytes | list[bytes | float | str | threading.Event] | None"]

HEALTHY_S = 20.0
"""Time-out where an answer comes: no machine, however busy, stands still as long as this."""


class ScriptedInstrument:
    """Answers each line as `answer` says: bytes, nothing, or a list of parts.

    Parts are bytes, pauses in s, events that are awaited, and ``"close"``.
    """

    def __init__(self, answer: Answer) -> None:
        self._answer = answer
        self.lines: list[str] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._open: list[socket.socket] = []
        self._stopping = threading.Event()
        port = self._listener.getsockname()[1]
        self.address = f"TCPIP::127.0.0.1::{port}::SOCKET"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._open.append(connection)
                threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection: socket.socket) -> None:
        with suppress(OSError), connection, connection.makefile("rb") as lines:
            for raw in lines:
                line = raw.decode().rstrip("\r\n")
                self.lines.append(line)
                answer = self._answer(line)
                for part in answer if isinstance(answer, list) else [answer]:
                    if isinstance(part, bytes):
                        connection.sendall(part)
                    elif isinstance(part, float):
                        self._stopping.wait(part)
                    elif isinstance(part, threading.Event):
                        part.wait(HEALTHY_S)
                    elif part == "close":
                        connection.shutdown(socket.SHUT_RDWR)
                        return

    def stop(self) -> None:
        self._stopping.set()
        self._listener.close()
        for connection in self._open:
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def scripted() -> Iterator[Callable[[Answer], ScriptedInstrument]]:
    """Start instruments that answer as a function says; all are stopped afterwards."""
    running: list[ScriptedInstrument] = []

    def start(answer: Answer) -> ScriptedInstrument:
        running.append(ScriptedInstrument(answer))
        return running[-1]

    yield start
    for instrument in running:
        instrument.stop()


@pytest.fixture
def stopwatch() -> Callable[[], float]:
    """Seconds since the test began."""
    started = time.monotonic()
    return lambda: time.monotonic() - started


@pytest.fixture
def until() -> Callable[[Callable[[], object]], None]:
    """Wait until something is so, however slow the machine is just now."""

    def wait(so: Callable[[], object]) -> None:
        last = time.monotonic() + HEALTHY_S
        while not so():
            assert time.monotonic() < last, "it never came"
            time.sleep(0.002)

    return wait


@pytest.fixture
def quickly() -> Callable[[Callable[[], object], float], None]:
    """Assert that something takes less than `within_s`: one attempt of five is enough.

    What costs time by itself costs it every time; a machine that is busy with something else now and then.
    """

    def within(action: Callable[[], object], within_s: float) -> None:
        took: list[float] = []
        while not took or (took[-1] >= within_s and len(took) < 5):
            started = time.monotonic()
            action()
            took.append(time.monotonic() - started)
        assert min(took) < within_s, took

    return within


@contextmanager
def _short_blocks(link: Link, seconds: float = 0.3) -> Iterator[None]:
    """Give up a block that has begun after `seconds` without a byte; all else has its full time."""
    transport: Any = link._transport
    read = transport.read_body
    transport.read_body = lambda count, timeout_s: read(count, seconds)
    try:
        yield
    finally:
        transport.read_body = read


@pytest.fixture
def short_blocks() -> Callable[..., AbstractContextManager[None]]:
    """Shorten what a block that stops in the middle costs (see `_short_blocks`)."""
    return _short_blocks


def _load(name: str) -> ModuleType:
    """Load a helper that stands beside this file; the tests are no package."""
    path = Path(__file__).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(f"instrument_{name}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SERVERS = _load("servers")


@pytest.fixture
def start_server() -> Iterator[Callable[..., Any]]:
    """Start an instrument over ``hislip`` or ``vxi11`` (see ``servers.py``); all are stopped afterwards."""
    running: list[Any] = []

    def start(kind: str, known: dict[str, Any] | Callable[[str], Any], **options: Any) -> Any:
        script = SERVERS.answers({"*IDN?": b"a,b,c,d\n", **known}) if isinstance(known, dict) else known
        server = {"hislip": SERVERS.HislipServer, "vxi11": SERVERS.Vxi11Server}[kind](script, **options)
        running.append(server)
        return server

    yield start
    for server in running:
        server.stop()
