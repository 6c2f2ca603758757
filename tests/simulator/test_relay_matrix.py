"""The relay matrix over TCP: closures, their read-back, what they attach, and contacts that fail."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import SETUP, Client, matrix, take

OPTIONS = BenchOptions(ports=4, noiseless=True, relays=True)


@dataclass
class Bench:
    analyzer: Client
    relays: Client

    def sweep(self) -> NDArray[np.complex128]:
        take(self.analyzer)
        assert self.analyzer.errors() == []
        return matrix(self.analyzer)

    def close(self, *channels: str) -> None:
        self.relays.write("ROUT:OPEN:ALL", f"ROUT:CLOS (@{','.join(channels)})")
        assert self.relays.ask("*OPC?") == "1"
        assert self.relays.errors() == []


@pytest.fixture(scope="module")
def switched() -> Iterator[Bench]:
    with running_bench(OPTIONS) as bench:
        found = Bench(Client(bench.address), Client(bench.addresses["relays"]))
        found.analyzer.write(*(line for line in SETUP if "CONN" not in line))
        found.analyzer.write(*(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, 5)))
        assert found.analyzer.errors() == []
        yield found
        found.analyzer.close()
        found.relays.close()


@pytest.fixture
def bench(switched: Bench) -> Bench:
    switched.relays.write("BENC:FAUL 'none'", "*RST", "*CLS")
    assert switched.relays.ask("*OPC?") == "1"
    return switched


def connected(connections: str) -> NDArray[np.complex128]:
    """What the same bench reads when hands attach the same."""
    with running_bench(BenchOptions(ports=4, noiseless=True)) as bench:
        client = Client(bench.address)
        client.write(*SETUP, *(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, 5)))
        client.write(f"BENC:CONN '{connections}'")
        take(client)
        assert client.errors() == []
        found = matrix(client)
        client.close()
    return found


def test_it_is_an_instrument_of_its_own(bench: Bench) -> None:
    identity = bench.relays.ask("*IDN?").split(",")
    assert identity[:2] == ["Simulated works", "relay matrix 4 by 21"]
    assert len(identity) == 4
    assert bench.relays.ask("*ESE 4;*ESE?;*STB?;:SYST:VERS?") == "+4;+16;1999.0"
    bench.relays.write("SENS:SWE:POIN 11", "CALC:DATA? SDATA")
    assert bench.relays.errors() == [-113, -113]
    bench.analyzer.write("ROUT:CLOS (@1!1)")
    assert bench.analyzer.errors() == [-113]


@pytest.mark.parametrize(
    ("channels", "hands"),
    [
        (("1!1", "2!2", "3!9", "4!10"), "1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2"),
        (("1!3", "2!6", "3!13", "4!16"), "1=A:36.3,2=A:36.6,3=B:45.5,4=B:78.8"),
        (("1!17", "2!18", "3!19"), "1=open,2=short,3=load"),
        (("1!20", "3!20", "2!21", "4!21"), "1=thru 3,3=thru 1,2=thru 4,4=thru 2"),
        (("1!20",), ""),
    ],
)
def test_closures_attach_what_hands_would(bench: Bench, channels: tuple[str, ...], hands: str) -> None:
    bench.close(*channels)
    np.testing.assert_array_equal(bench.sweep(), connected(hands))


def test_hands_can_not_overrule_the_relays_and_relays_only_stand_beside_hands(bench: Bench) -> None:
    bench.analyzer.write("BENC:CONN '1=open'")
    assert bench.analyzer.errors() == [-224]
    with running_bench(BenchOptions(ports=2, noiseless=True)) as other:
        assert not other.announcement["relays"]
        client, relays = Client(other.address), Client(other.addresses["relays"])
        client.write("BENC:CONN '1=open'")
        relays.write("ROUT:CLOS (@1!18)")
        assert relays.ask("*OPC?;:ROUT:CLOS? (@1!18)") == "1;1"
        assert client.ask("BENC:CONN?") == '"1=open"'
        client.close()
        relays.close()


def test_ranges_and_read_back(bench: Bench) -> None:
    bench.relays.write("ROUT:CLOS (@1!1:2!2, 4!17)")
    assert bench.relays.ask("*OPC?;:ROUT:CLOS? (@1!1:2!3,4!17)") == "1;1,1,0,1,1,0,1"
    bench.relays.write("ROUT:OPEN (@1!1:1!21)")
    assert bench.relays.ask("*OPC?;:ROUT:CLOS? (@1!1:2!3,4!17)") == "1;0,0,0,1,1,0,1"
    assert bench.relays.ask("ROUT:OPEN? (@1!1,2!1)") == "1,0"
    bench.relays.write("ROUT:OPEN:ALL")
    assert bench.relays.ask("*OPC?;:ROUT:CLOS? (@1!1:4!21)") == "1;" + ",".join("0" * 84)


@pytest.mark.parametrize(
    ("channels", "number"),
    [
        ("(@5!1)", -222), ("(@1!22)", -222), ("(@0!1)", -222), ("(@1)", -171), ("(1!1)", -171), ("(@)", -171),
        ("(@2!1:1!1)", -224), ("(@1!1", -171), ("'1!1'", -158), ("1", -128), ("", -109),
    ],
)  # fmt: skip
def test_lists_that_are_none_change_nothing(bench: Bench, channels: str, number: int) -> None:
    bench.relays.write(f"ROUT:CLOS {channels}")
    assert bench.relays.errors() == [number]
    assert "1" not in bench.relays.ask("ROUT:CLOS? (@1!1:4!21)")


def test_relays_take_their_time_and_complete_then(tmp_path) -> None:
    from benchsweep.definitions import find_definition

    text = find_definition("benches", "default").read_text()
    slow = tmp_path / "slow.toml"
    slow.write_text(text.replace("relay_time_s = 5e-3", "relay_time_s = 0.3"))
    with running_bench(BenchOptions(bench=str(slow), ports=2, relays=True)) as bench:
        relays = Client(bench.addresses["relays"])
        assert relays.ask("*ESR?") == "+128"
        before = time.perf_counter()
        relays.write("ROUT:CLOS (@1!1);*OPC")
        assert relays.ask("ROUT:CLOS? (@1!1)") == "0"
        assert relays.ask("*ESR?") == "+0"
        assert relays.ask("*OPC?") == "1"
        assert time.perf_counter() - before >= 0.3
        assert relays.ask("ROUT:CLOS? (@1!1);*ESR?") == "1;+1"
        relays.close()


def test_a_stuck_relay_is_seen_in_the_read_back_and_in_the_data(bench: Bench) -> None:
    bench.close("1!19")
    good = bench.sweep()
    bench.relays.write("BENC:FAUL 'relay-stuck-open'")
    bench.close("1!19")
    assert bench.relays.ask("ROUT:CLOS? (@1!19)") == "0"
    assert bench.relays.ask("BENC:FAUL?") == '"none"'
    assert np.abs(bench.sweep() - good).max() > 0.5
    bench.close("1!19")  # still stuck
    assert bench.relays.ask("ROUT:CLOS? (@1!19)") == "0"
    bench.relays.write("BENC:FAUL 'none'")  # repaired
    assert bench.relays.ask("*OPC?;:ROUT:CLOS? (@1!19)") == "1;1"
    bench.relays.write("BENC:FAUL 'relay-stuck-closed'")
    bench.close("1!18")
    assert bench.relays.ask("ROUT:CLOS? (@1!18,1!19)") == "1,1"


def test_what_hangs_on_one_node_is_joined(bench: Bench) -> None:
    """Two loads in parallel, and two ports on one column, against circuit theory.

    A raw reflection is ``(a + b g) / (1 + c g)`` in the true one ``g``; three standards tell a, b, c.
    """
    seen = {}
    for name, column in (("open", 17), ("short", 18), ("load", 19)):
        bench.close(f"1!{column}")
        seen[name] = bench.sweep()[:, 0, 0]
    frequency = np.linspace(1e6, 100e6, 11)
    omega = 2 * np.pi * frequency
    impedance = {
        "open": 1 / (1j * omega * 30e-15),
        "short": 1j * omega * 50e-12,
        "load": 51.0 + 1j * omega * 30e-12,
    }

    def gamma(z: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return (z - 50.0) / (z + 50.0)

    names = tuple(seen)
    rows = np.stack([[np.ones(11), gamma(impedance[n]), -gamma(impedance[n]) * seen[n]] for n in names])
    a, b, c = np.linalg.solve(rows.transpose(2, 0, 1), np.stack([seen[n] for n in names], axis=1)[..., None])[
        ..., 0
    ].T
    bench.close("1!17", "1!19")
    both = 1 / (1 / impedance["open"] + 1 / impedance["load"])
    expected = (a + b * gamma(both)) / (1 + c * gamma(both))
    np.testing.assert_allclose(bench.sweep()[:, 0, 0], expected, rtol=0, atol=1e-9)
    # Two ports on one short stay almost apart, on one open they are almost a thru, on a rail with it too.
    bench.close("1!18", "2!18")
    assert np.abs(bench.sweep()[:, 1, 0]).max() < 0.01
    bench.close("1!17", "2!17")
    through = bench.sweep()
    assert np.abs(through[:, 1, 0]).min() > 0.8
    bench.close("1!20", "2!20", "3!20")
    third = bench.sweep()
    # An ideal junction of three 50 ohm lines passes 2/3 and reflects -1/3.
    ratio = np.abs(third[:, 1, 0]) / np.abs(through[:, 1, 0])
    np.testing.assert_allclose(ratio, 2 / 3, atol=0.05)


def test_two_ports_on_one_leg_and_a_leg_with_a_load(bench: Bench) -> None:
    """A load beside a leg takes power: the far end gets less, by the divider that circuit theory gives."""
    bench.close("1!1", "2!9")
    alone = bench.sweep()
    bench.close("1!1", "1!19", "2!9")
    loaded = bench.sweep()
    assert 0.4 < np.median(np.abs(loaded[:, 1, 0]) / np.abs(alone[:, 1, 0])) < 0.95
    bench.close("1!1", "3!1", "2!9")
    shared = bench.sweep()
    np.testing.assert_allclose(np.abs(shared[:, 1, 0]), np.abs(shared[:, 1, 2]), rtol=0.25)


def test_a_dropped_link_leaves_the_relays_as_they_are() -> None:
    with running_bench(OPTIONS) as bench:
        client = Client(bench.addresses["relays"])
        client.write("ROUT:CLOS (@1!1)", "BENC:FAUL 'drop-link',1")
        assert client.ask("*OPC?") == "1"
        client.write("*IDN?")
        assert b"\n" not in client.file.read()
        client.close()
        again = Client(bench.addresses["relays"])
        assert again.ask("ROUT:CLOS? (@1!1,2!2)") == "1,0"
        again.write("BENC:FAUL 'power-cycle'")
        assert again.errors() == [-224]
        again.close()
