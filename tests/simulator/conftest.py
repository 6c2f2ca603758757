"""A bare socket client, and a simulated analyzer of four ports to talk to."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, RunningBench, running_bench

TIMEOUT_S = 5.0


class Asking:
    """A client of whatever door that can ask and be answered."""

    def ask(self, command: str) -> str:
        raise NotImplementedError

    def errors(self) -> list[int]:
        """Read the error queue until it is empty."""
        numbers = []
        while (number := int(self.ask("SYST:ERR?").split(",")[0])) != 0:
            numbers.append(number)
        return numbers


class Client(Asking):
    """A bare socket that speaks lines."""

    def __init__(self, address: str) -> None:
        self.address = address
        _, host, port, _ = address.split("::")
        self.socket = socket.create_connection((host, int(port)), timeout=TIMEOUT_S)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.file = self.socket.makefile("rb")

    def write(self, *commands: str) -> None:
        self.socket.sendall("".join(f"{command}\n" for command in commands).encode("latin-1"))

    def read(self) -> str:
        return self.file.readline().decode("latin-1").removesuffix("\n")

    def ask(self, command: str) -> str:
        self.write(command)
        return self.read()

    def block(self, command: str, form: str = "<f8") -> NDArray[np.float64]:
        self.write(command)
        assert self.file.read(1) == b"#"
        payload = self.file.read(int(self.file.read(int(self.file.read(1)))))
        assert self.file.read(1) == b"\n"
        return np.frombuffer(payload, form)

    def close(self) -> None:
        self.file.close()
        self.socket.close()


SETUP = (
    "*RST", "*CLS", "FORM REAL,64", "FORM:BORD SWAP", "SENS:CORR OFF", "SENS:CORR:EXT OFF",
    "MMEM:STOR:TRAC:FORM:SNP RI",
    "SENS:SWE:MODE HOLD", "SENS:FREQ:STAR 1E6;STOP 100E6", "SENS:SWE:POIN 11", "CALC:PAR:DEL:ALL",
    "BENCH:CONN ''", "BENCH:FAUL 'none'",
)  # fmt: skip


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with running_bench(BenchOptions(ports=4)) as bench:
        yield bench.address


@pytest.fixture(scope="module")
def bench() -> Iterator[RunningBench]:
    """A bench without noise, by all its doors."""
    with running_bench(BenchOptions(ports=4, noiseless=True)) as running:
        yield running


@pytest.fixture
def lines(bench: RunningBench) -> Iterator[Client]:
    """A client of the analyzer of `bench` by the raw socket."""
    found = Client(bench.address)
    yield found
    found.close()


@pytest.fixture
def fresh(address: str) -> Iterator[Client]:
    """A client of an analyzer that was just reset."""
    client = Client(address)
    client.write("*RST", "*CLS", "STAT:PRES", "*ESE 0", "*SRE 0", "BENC:FAUL 'none'")
    assert client.errors() == []
    yield client
    client.close()


@pytest.fixture
def ready(fresh: Client) -> Client:
    """A client of an analyzer that is set up to sweep all four ports into the specimen."""
    fresh.write(*SETUP, *(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, 5)))
    fresh.write("BENC:CONN '1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2'")
    assert fresh.errors() == []
    return fresh


def matrix(client: Client, ports: str = "1,2,3,4", n: int = 4) -> NDArray[np.complex128]:
    rows = client.block(f"CALC:DATA:SNP:PORT? '{ports}'").reshape(1 + 2 * n * n, -1)
    return (rows[1::2] + 1j * rows[2::2]).T.reshape(-1, n, n)


def take(client: Client) -> None:
    client.write("SENS:SWE:MODE SING")
    assert client.ask("*OPC?") == "1"
