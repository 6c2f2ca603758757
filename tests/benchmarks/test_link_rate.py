"""How fast a matrix block comes through VISA over a TCP socket and HiSLIP, against a bare socket.

Budget: at least half.
"""

from __future__ import annotations

import functools
import multiprocessing
import socket
import statistics
import struct
import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any

import numpy as np
import pytest

from benchsweep.instrument import open_link

pytestmark = pytest.mark.benchmark_run

# 16 ports, 1001 points: the frequency row and 512 rows of doubles, 4.1 MB; and with 2001 points.
SIZES = (513 * 1001, 513 * 2001)
ROUNDS = 41
BUDGET = 0.5


HISLIP = struct.Struct("!2sBBIQ")
# Answers travel in messages of this size at most, as an instrument with limited buffers sends them.
MESSAGE = 1 << 20


@functools.cache
def _block(line: bytes) -> bytes:
    values = np.random.default_rng(1).standard_normal(int(line.rstrip(b"?\n")))
    length = str(values.nbytes).encode()
    return b"#%d%s%s\n" % (len(length), length, values.tobytes())


def _serve(ready: Connection) -> None:
    """Answer every line by a block: as many doubles as the line says; raw on one port, HiSLIP on another."""
    with (
        socket.create_server(("127.0.0.1", 0)) as listener,
        socket.create_server(("127.0.0.1", 0)) as hislip,
    ):
        threading.Thread(target=_accept_hislip, args=(hislip,), daemon=True).start()
        ready.send((listener.getsockname()[1], hislip.getsockname()[1]))
        while True:
            connection, _ = listener.accept()
            with connection, connection.makefile("rb") as lines:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                for line in lines:
                    connection.sendall(_block(line))


def _accept_hislip(listener: socket.socket) -> None:
    while True:
        connection, _ = listener.accept()
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        threading.Thread(target=_serve_hislip, args=(connection,), daemon=True).start()


def _serve_hislip(connection: socket.socket) -> None:
    """As much of IVI-6.1 as asking takes: greeting on both channels, largest message, data."""
    with connection, connection.makefile("rb") as stream:
        while head := stream.read(HISLIP.size):
            _, kind, _, number, size = HISLIP.unpack(head)
            payload = stream.read(size)
            if kind == 7:
                data = memoryview(_block(payload))
                for at in range(0, len(data), MESSAGE):
                    piece = data[at : at + MESSAGE]
                    kind = 7 if at + MESSAGE >= len(data) else 6
                    connection.sendall(HISLIP.pack(b"HS", kind, 0, number, len(piece)))
                    connection.sendall(piece)
            else:
                answer = struct.pack("!Q", MESSAGE) if kind == 15 else b""
                parameter = 0x0100_0001 if kind == 0 else 0
                connection.sendall(HISLIP.pack(b"HS", kind + 1, 0, parameter, len(answer)) + answer)


@pytest.fixture
def ports(figures: Any) -> Iterator[tuple[int, int]]:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    server = context.Process(target=_serve, args=(theirs,), daemon=True)
    server.start()
    try:
        assert ours.poll(30.0), "the server did not start"
        yield ours.recv()
    finally:
        server.terminate()
        server.join(5.0)
        ours.close()
        theirs.close()


def _seconds(action: Callable[[], object]) -> float:
    started = time.perf_counter()
    action()
    return time.perf_counter() - started


@pytest.mark.parametrize("way", ["socket", "hislip"])
@pytest.mark.parametrize("count", SIZES)
def test_block_reader_against_a_bare_socket(
    figures: Any, ports: tuple[int, int], count: int, way: str
) -> None:
    port, hislip_port = ports
    address = {
        "socket": f"TCPIP::127.0.0.1::{port}::SOCKET",
        "hislip": f"TCPIP::127.0.0.1::hislip0,{hislip_port}::INSTR",
    }[way]
    question = f"{count}?"
    megabytes = 8 * count / 1e6

    # The server has one client at a time, so the two take turns by connecting anew.
    def bare_times() -> list[float]:
        with socket.create_connection(("127.0.0.1", port)) as bare:
            bare.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            size = len(f"#{len(str(8 * count))}{8 * count}") + 8 * count + 1

            # The strictest comparison: one buffer, used again, so that no memory is fetched while reading.
            view = memoryview(bytearray(size))

            def read() -> None:
                bare.sendall(question.encode() + b"\n")
                got = 0
                while got < size:
                    got += bare.recv_into(view[got:])

            read()
            return [_seconds(read) for _ in range(ROUNDS // 4)]

    def link_times() -> list[float]:
        with open_link(address) as link:
            assert link.query_doubles(question, count=count).size == count
            return [_seconds(lambda: link.query_doubles(question, count=count)) for _ in range(ROUNDS // 4)]

    bare: list[float] = []
    link: list[float] = []
    for _ in range(4):
        bare += bare_times()
        link += link_times()
    bare_s, link_s = statistics.median(bare), statistics.median(link)
    figures.keep(
        f"rate of a block of {megabytes:.1f} MB through VISA, {way}",
        bare_s / link_s,
        BUDGET,
        ours=f"{megabytes / link_s:.0f} MB/s",
        plain=f"{megabytes / bare_s:.0f} MB/s",
        at_least=True,
    )
