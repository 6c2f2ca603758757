"""What a hookup costs beyond its sweep: asking for the settings before and after, checking, storing durably.

Against a bare socket that makes the same connections, lets the same analyzer sweep the same ports and reads
the same matrix. Budget: 20 ms.
"""

from __future__ import annotations

import json
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from benchsweep.acquisition import SimulatedSwitch, run_plan
from benchsweep.archive import Journal
from benchsweep.instrument import open_analyzer
from benchsweep.qualification import Places, plan_for
from benchsweep.records import Hookup, SweepSettings

pytestmark = pytest.mark.benchmark_run

BUDGET_S = 0.020
SETTINGS = SweepSettings(1e6, 500e6, 1001, 1000.0)
ROUNDS = 21


@contextmanager
def bench_apart(ports: int) -> Iterator[str]:
    """A bench in a process of its own, as an analyzer is: it must not wait for this one's interpreter."""
    command = [sys.executable, "-m", "benchsweep", "simulate", "--ports", str(ports)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield json.loads(process.stdout.readline())["addresses"]["analyzer"]
        finally:
            process.terminate()


class Bare:
    """A socket that sweeps and reads, and checks nothing."""

    def __init__(self, address: str, ports: int) -> None:
        _, host, port, _ = address.split("::")
        self.socket = socket.create_connection((host, int(port)), timeout=30.0)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.lines = self.socket.makefile("rb")
        self.ports = ",".join(map(str, range(1, ports + 1)))

    def sweep(self, hookup: Hookup) -> None:
        connections = ",".join(f"{port}={target}" for port, target in hookup.connections.items())
        self.socket.sendall(f"BENC:CONN '{connections}'\nSENS:SWE:MODE SING\n*OPC?\n".encode())
        assert self.lines.readline() == b"1\n"
        self.socket.sendall(f"CALC:DATA:SNP:PORT? '{self.ports}'\n".encode())
        digits = int(self.lines.read(2)[1:])
        size = int(self.lines.read(digits))
        assert len(self.lines.read(size + 1)) == size + 1

    def close(self) -> None:
        self.lines.close()
        self.socket.close()


@pytest.mark.parametrize("ports", [16, 8, 4])
def test_overhead_of_a_hookup(figures: Any, tmp_path: Path, ports: int) -> None:
    ours: list[float] = []
    bare: list[float] = []
    with bench_apart(ports) as address, open_analyzer(address) as analyzer:
        plan = plan_for(Places(tuple((port, port + 1) for port in range(1, ports, 2))))
        analyzer.configure(SETTINGS, range(1, ports + 1))
        client = Bare(address, ports)
        for turn in range(ROUNDS):
            with Journal(tmp_path / str(turn), {"turn": str(turn)}) as journal:
                started = time.perf_counter()
                run_plan(
                    plan,
                    analyzer,
                    SimulatedSwitch(lambda: analyzer.link),
                    journal,
                    progress=lambda _: None,
                )
                ours.append((time.perf_counter() - started) / len(plan.hookups))
            started = time.perf_counter()
            for hookup in plan.hookups:
                client.sweep(hookup)
            bare.append((time.perf_counter() - started) / len(plan.hookups))
        client.close()
    # In the first turn measurements are defined and the order of the matrix is checked.
    overhead_s = statistics.median(ours[1:]) - statistics.median(bare)
    figures.keep(
        f"a hookup beyond its sweep, {ports} ports x 1001 points",
        1e3 * overhead_s,
        1e3 * BUDGET_S,
        ours=f"{1e3 * statistics.median(ours[1:]):.1f} ms",
        plain=f"{1e3 * statistics.median(bare):.1f} ms",
        unit="ms",
    )
