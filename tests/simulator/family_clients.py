"""How each command family is driven over a bare socket: what a careful person would type."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client

Complex = NDArray[np.complex128]


def complex_trace(client: Client, question: str, form: str = "<f8") -> Complex:
    values = client.block(question, form)
    return values[::2] + 1j * values[1::2]


def done(client: Client) -> None:
    assert client.ask("*OPC?") == "1"


def name(receiver: int, source: int) -> str:
    return f"S{receiver}{source}" if max(receiver, source) < 10 else f"S{receiver:02d}{source:02d}"


def under_name(receiver: int, source: int) -> str:
    return f"S{receiver}{source}" if max(receiver, source) < 10 else f"S{receiver}_{source}"


def by_trace(n: int, read: Callable[[int, int], Complex]) -> Complex:
    rows = [[read(i, j) for j in range(1, n + 1)] for i in range(1, n + 1)]
    return np.moveaxis(np.array(rows), 2, 0)


# -- named-measurement -------------------------------------------------------------------------------------


def set_up_a(client: Client, ports: Sequence[int]) -> None:
    client.write("FORM REAL,64;:FORM:BORD SWAP;:SENS:SWE:MODE HOLD;:SENS:CORR OFF;:SENS:CORR:EXT OFF")
    client.write("MMEM:STOR:TRAC:FORM:SNP RI", "CALC:PAR:DEL:ALL")
    client.write(*(f"CALC:PAR:EXT 'p{port}',{name(port, port)}" for port in ports))


def take_a(client: Client) -> None:
    client.write("SENS:SWE:MODE SING")
    done(client)


def matrix_a(client: Client, ports: Sequence[int]) -> Complex:
    n = len(ports)
    listed = ",".join(map(str, ports))
    rows = client.block(f"CALC:DATA:SNP:PORT? '{listed}'").reshape(1 + 2 * n * n, -1)
    flat = (rows[1::2] + 1j * rows[2::2]).T.reshape(-1, n, n)
    return flat.transpose(0, 2, 1) if n == 2 else flat


# -- numbered-measurement ----------------------------------------------------------------------------------


def set_up_b(client: Client, ports: Sequence[int]) -> None:
    client.write("FORM REAL,64;:FORM:BORD SWAP;:SENS:SWE:MODE HOLD;:SENS:CORR OFF;:SENS:CORR:EXT OFF")
    client.write("CALC:PAR:DEL:ALL")
    for number, (i, j) in enumerate(itertools.product(ports, ports), 1):
        client.write(f'CALC:MEAS{number}:DEF "{name(i, j)}"')


def matrix_b(client: Client, ports: Sequence[int]) -> Complex:
    n = len(ports)
    return by_trace(n, lambda i, j: complex_trace(client, f"CALC:MEAS{(i - 1) * n + j}:DATA:SDATA?"))


# -- quoted-parameter --------------------------------------------------------------------------------------


def set_up_q(client: Client, ports: Sequence[int]) -> None:
    client.write("INIT:CONT 0;:FORM REAL,64;:FORM:BORD SWAP;:SENS:CORR OFF;:SENS:CORR:OFFS:COMP OFF")
    client.write("CALC:PAR:DEL:ALL", f"CALC:PAR:DEF:SGR {','.join(map(str, ports))}")


def take_q(client: Client) -> None:
    client.write("INIT:IMM")
    done(client)


def matrix_q(client: Client, ports: Sequence[int]) -> Complex:
    n = len(ports)
    values = complex_trace(client, "CALC:DATA:SGR? SDAT")
    return values.reshape(n, n, -1).transpose(2, 0, 1)


# -- numbered-trace ----------------------------------------------------------------------------------------


def set_up_t(client: Client, ports: Sequence[int]) -> None:
    client.write("TRIG:SOUR BUS;:INIT:CONT ON;:FORM:DATA REAL;:FORM:BORD SWAP")
    client.write("SENS:CORR:STAT OFF;:SENS:CORR:EXT OFF", f"CALC:PAR:COUN {len(ports)}")
    client.write(*(f"CALC:PAR{n}:DEF {under_name(port, port)}" for n, port in enumerate(ports, 1)))


def take_t(client: Client) -> None:
    client.write("TRIG:SING")
    done(client)


def matrix_t(client: Client, ports: Sequence[int]) -> Complex:
    return by_trace(
        len(ports),
        lambda i, j: complex_trace(client, f"SENS:DATA:CORR? {under_name(ports[i - 1], ports[j - 1])}"),
    )


# -- single-channel ----------------------------------------------------------------------------------------


def set_up_s(client: Client, ports: Sequence[int]) -> None:
    assert len(ports) == 2
    client.write("INIT:CONT 0;:FORM REAL,64;:SENS:CORR OFF;:CALC:PAR:COUN 4")
    for number, (i, j) in enumerate(itertools.product(ports, ports), 1):
        client.write(f"CALC:PAR{number}:DEF S{i}{j}")


def take_init(client: Client) -> None:
    client.write("INIT")
    done(client)


def matrix_s(client: Client, ports: Sequence[int]) -> Complex:
    def read(i: int, j: int) -> Complex:
        client.write(f"CALC:PAR{2 * (i - 1) + j}:SEL")
        return complex_trace(client, "CALC:DATA:SDATA?", ">f8")

    return by_trace(len(ports), read)


# -- sense-function ----------------------------------------------------------------------------------------


def set_up_f(client: Client, ports: Sequence[int]) -> None:
    client.write("INIT:CONT OFF;:FORM REAL,64;:FORM:BORD SWAP;:SENS:CORR OFF;:SENS:FUNC:CONC ON")
    functions = ",".join(f"'XFR:S{i}{j}'" for i, j in itertools.product(ports, ports))
    client.write(f"SENS:FUNC {functions}")


def matrix_f(client: Client, ports: Sequence[int]) -> Complex:
    def read(i: int, j: int) -> Complex:
        client.write(f"CALC:FEED 'XFR:S{ports[i - 1]}{ports[j - 1]}'")
        return complex_trace(client, "TRAC? CH1SDATA")

    return by_trace(len(ports), read)


@dataclass(frozen=True)
class Driver:
    """How a family is set up for raw data, swept once and read as ``(points, n, n)``."""

    ports: tuple[int, ...]
    set_up: Callable[[Client, Sequence[int]], None]
    take: Callable[[Client], None]
    matrix: Callable[[Client, Sequence[int]], Complex]
    plus: str
    sweep_type: str | None
    most_averages: int
    channels: int


DRIVERS: Mapping[str, Driver] = {
    "named-measurement": Driver((2, 4, 8, 16), set_up_a, take_a, matrix_a, "+", "SWE:TYPE", 65_536, 4),
    "numbered-measurement": Driver((2, 4, 8, 16), set_up_b, take_a, matrix_b, "+", "SWE:TYPE", 65_536, 4),
    "quoted-parameter": Driver((2, 4, 8, 16), set_up_q, take_q, matrix_q, "", "SWE:TYPE", 1000, 4),
    "numbered-trace": Driver((2, 4, 8, 16), set_up_t, take_t, matrix_t, "+", "SWE:TYPE", 65_536, 16),
    "single-channel": Driver((2,), set_up_s, take_init, matrix_s, "", None, 65_536, 1),
    "sense-function": Driver((2, 4), set_up_f, take_init, matrix_f, "+", "SWE:SPAC", 65_536, 2),
}


def own_analyzer(family: str) -> tuple[Callable[..., Iterator[str]], Callable[..., Iterator[Client]]]:
    """Return two fixtures for a module to name `own_address` and `client`: an analyzer of that family with up
    to four ports, and for each test a client of it after a reset, with a cord between the ports.
    """
    ports = max(n for n in DRIVERS[family].ports if n <= 4)
    legs = ("A:12.1", "B:12.1") if ports == 2 else ("A:12.1", "A:12.2", "B:12.1", "B:12.2")
    joined = ",".join(f"{port}={leg}" for port, leg in enumerate(legs, 1))

    @pytest.fixture(scope="module")
    def own_address() -> Iterator[str]:
        with running_bench(BenchOptions(ports=ports, family=family)) as bench:
            yield bench.address

    @pytest.fixture
    def client(own_address: str) -> Iterator[Client]:
        one = Client(own_address)
        one.write("*RST", "*CLS", f"BENC:CONN '{joined}'", "SENS:SWE:POIN 11")
        assert one.errors() == []
        yield one
        one.close()

    return own_address, client
