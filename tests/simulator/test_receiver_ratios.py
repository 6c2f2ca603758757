"""Ratios of receivers: switch terms and others, in the words of the families that have them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import load_bench
from benchsweep.simulator.bench._error_terms import draw_error_boxes

from .conftest import Client
from .family_clients import DRIVERS, complex_trace

Complex = NDArray[np.complex128]
PORTS, SEED = 4, 6
F = np.linspace(1e6, 500e6, 11)
NAN = 9.91e37
BOXES = draw_error_boxes(load_bench("default").error_terms, PORTS, SEED, F)


@dataclass(frozen=True)
class Words:
    """How a family names a ratio, defines it as the measurement of a number, and reads it."""

    ratio: Callable[[str, str, int], str]
    define: str
    read: str
    listing: str
    listed: str


COMMA = "{0}/{1},{2}".format
WORDS = {
    "named-measurement": Words(
        COMMA, "CALC:PAR:EXT 'R{n}','{ratio}'", "CALC:PAR:SEL 'R{n}';:CALC:DATA? SDATA",
        "CALC:PAR:CAT:EXT?", '"R1,A2/B2_1"',
    ),
    "numbered-measurement": Words(
        COMMA, "CALC:MEAS{n}:DEF '{ratio}'", "CALC:MEAS{n}:DATA:SDATA?", "CALC:MEAS1:DEF?", '"A2/B2,1"',
    ),
    "quoted-parameter": Words(
        "{0}D{2}/{1}D{2}".format, "CALC:PAR:SDEF 'R{n}','{ratio}'", "CALC:DATA:TRAC? 'R{n}',SDAT",
        "CALC:PAR:CAT?", "'R1,A2D1/B2D1'",
    ),
}  # fmt: skip


@pytest.fixture(params=list(WORDS))
def family(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def client(family: str, noiseless: bool) -> Iterator[Client]:
    options = BenchOptions(ports=PORTS, family=family, seed=SEED, noiseless=noiseless)
    with running_bench(options) as bench:
        one = Client(bench.address)
        one.write("*RST", "*CLS", "SENS:SWE:POIN 11")
        yield one
        assert one.errors() == []
        one.close()


@pytest.fixture
def noiseless() -> bool:
    return True


def ready(client: Client, family: str, connected: str) -> None:
    client.write(f"BENC:CONN '{connected}'")
    DRIVERS[family].set_up(client, (1,))
    client.write(*(["CALC:PAR:DEL:ALL"] + (["CALC:PAR:DEL:SGR"] if family == "quoted-parameter" else [])))


def ratios(client: Client, family: str, wanted: list[tuple[str, str, int]]) -> list[Complex]:
    """Define them, sweep once, and read them all."""
    words = WORDS[family]
    for n, one in enumerate(wanted, 1):
        client.write(words.define.format(n=n, ratio=words.ratio(*one)))
    DRIVERS[family].take(client)
    return [complex_trace(client, words.read.format(n=n)) for n in range(1, len(wanted) + 1)]


ALL = [(f"A{j}", f"B{j}", i) for i in range(1, PORTS + 1) for j in range(1, PORTS + 1) if i != j]


@pytest.mark.parametrize(
    "connected", ["1=A:12.1,2=A:12.2,3=B:12.1,4=B:36.3", "1=A:12.1,2=B:12.1,3=A:36.3,4=A:45.4"]
)
def test_switch_terms_are_those_of_the_termination_whatever_is_connected(
    client: Client, family: str, connected: str
) -> None:
    """a_j / b_j is the reflection of what stands behind the error box of port j (Marks 1997)."""
    ready(client, family, connected)
    for (over, _, _), found in zip(ALL, ratios(client, family, ALL), strict=True):
        np.testing.assert_allclose(found, BOXES.switch[:, int(over[1]) - 1], rtol=1e-10)


def test_any_two_receivers_make_a_ratio(client: Client, family: str) -> None:
    """b2/a1 with port 1 driven is S21 as read without correction; a1/b1 the reciprocal of S11; a/a is one."""
    ready(client, family, "1=A:12.1,2=B:12.1,3=A:36.3,4=A:45.4")
    wanted = [("B2", "A1", 1), ("A1", "B1", 1), ("A1", "A1", 1), ("A2", "A1", 1), ("B2", "A2", 2)]
    transmission, reflection, one, back, driven = ratios(client, family, wanted)
    ready(client, family, "1=A:12.1,2=B:12.1,3=A:36.3,4=A:45.4")
    DRIVERS[family].set_up(client, (1, 2, 3, 4))
    DRIVERS[family].take(client)
    raw = DRIVERS[family].matrix(client, (1, 2, 3, 4))
    np.testing.assert_allclose(transmission, raw[:, 1, 0], rtol=1e-12)
    np.testing.assert_allclose(reflection * raw[:, 0, 0], 1.0, rtol=1e-12)
    np.testing.assert_array_equal(one, 1.0)
    np.testing.assert_allclose(back / transmission, BOXES.switch[:, 1], rtol=1e-10)
    np.testing.assert_allclose(driven, raw[:, 1, 1], rtol=1e-12)


def test_a_ratio_is_listed_and_nothing_of_another_kind_is_taken(client: Client, family: str) -> None:
    ready(client, family, "1=thru 2,2=thru 1")
    words = WORDS[family]
    client.write(words.define.format(n=1, ratio=words.ratio("A2", "B2", 1)))
    assert client.ask(words.listing) == words.listed
    np.testing.assert_array_equal(complex_trace(client, words.read.format(n=1)), 0.0)
    bad = [("A5", "B2", 1), ("A2", "B2", 5), ("A0", "B2", 1), ("C2", "B2", 1), ("A2", "", 1)]
    client.write(*(words.define.format(n=9, ratio=words.ratio(*one)) for one in bad))
    assert client.errors() == [-224] * len(bad)
    client.write(words.define.format(n=9, ratio=words.ratio("A2", "B2", 1).lower()))
    assert client.errors() == []


def test_where_nothing_is_received_a_ratio_is_no_number(client: Client, family: str) -> None:
    ready(client, family, "1=load,2=open")
    (found,) = ratios(client, family, [("A2", "B2", 1)])
    assert np.all(np.abs(found.real) >= NAN)


@pytest.mark.parametrize("noiseless", [False])
def test_noise_is_that_of_two_receivers(client: Client, family: str) -> None:
    """Through a thru the ratio is good to some 1e-3 of itself; without transmission it is anything."""
    ready(client, family, "1=thru 2,2=thru 1,3=load")
    through, nowhere = ratios(client, family, [("A2", "B2", 1), ("A3", "B3", 1)])
    off = np.abs(through / BOXES.switch[:, 1] - 1.0)
    assert 1e-6 < off.max() < 2e-2
    assert np.abs(nowhere - BOXES.switch[:, 2]).max() > 0.1


def test_sweeps_without_ratios_read_the_same_as_with_them(client: Client, family: str) -> None:
    ready(client, family, "1=thru 2,2=thru 1,3=open")
    DRIVERS[family].set_up(client, (1, 2))
    DRIVERS[family].take(client)
    before = DRIVERS[family].matrix(client, (1, 2))
    words = WORDS[family]
    client.write(words.define.format(n=9, ratio=words.ratio("A2", "B2", 1)))
    DRIVERS[family].take(client)
    np.testing.assert_array_equal(DRIVERS[family].matrix(client, (1, 2)), before)
    np.testing.assert_allclose(complex_trace(client, words.read.format(n=9)), BOXES.switch[:, 1], rtol=1e-10)
