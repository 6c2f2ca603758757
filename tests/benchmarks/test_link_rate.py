"""How fast a matrix block comes through VISA over a TCP socket, against a bare socket. Budget: at least half.

Run by ``pytest tests/benchmarks --benchmark-enable -s``; skipped otherwise.
"""

from __future__ import annotations

import multiprocessing
import socket
import statistics
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection

import numpy as np
import pytest

from benchsweep.instrument import open_link

pytestmark = pytest.mark.benchmark_run

# 16 ports, 1001 points: the frequency row and 512 rows of doubles, 4.1 MB; and with 2001 points.
SIZES = (513 * 1001, 513 * 2001)
ROUNDS = 41
BUDGET = 0.5


def _serve(ready: Connection) -> None:
    """Answer every line by a block: as many doubles as the line says."""
    blocks: dict[bytes, bytes] = {}
    with socket.create_server(("127.0.0.1", 0)) as listener:
        ready.send(listener.getsockname()[1])
        while True:
            connection, _ = listener.accept()
            with connection, connection.makefile("rb") as lines:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                for line in lines:
                    if line not in blocks:
                        values = np.random.default_rng(1).standard_normal(int(line[:-2]))
                        length = str(values.nbytes).encode()
                        blocks[line] = b"#%d%s%s\n" % (len(length), length, values.tobytes())
                    connection.sendall(blocks[line])


@pytest.fixture
def port(request: pytest.FixtureRequest) -> Iterator[int]:
    if not request.config.getoption("benchmark_enable"):
        pytest.skip("a timing ratio: give --benchmark-enable")
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


@pytest.mark.parametrize("count", SIZES)
def test_block_reader_against_a_bare_socket(port: int, count: int) -> None:
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
        with open_link(f"TCPIP::127.0.0.1::{port}::SOCKET") as link:
            assert link.query_doubles(question, count=count).size == count
            return [_seconds(lambda: link.query_doubles(question, count=count)) for _ in range(ROUNDS // 4)]

    bare: list[float] = []
    link: list[float] = []
    for _ in range(4):
        bare += bare_times()
        link += link_times()
    bare_s, link_s = statistics.median(bare), statistics.median(link)
    ratio = bare_s / link_s
    print(
        f"\nblock of {megabytes:.2f} MB: bare socket {megabytes / bare_s:.0f} MB/s, "
        f"through VISA {megabytes / link_s:.0f} MB/s, ratio {ratio:.2f} (budget {BUDGET})"
    )
    assert ratio >= BUDGET
