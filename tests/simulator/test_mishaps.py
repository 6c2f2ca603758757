"""Temperature steps and what hands do wrong: no message shows them, only the readings do."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import load_bench

from .conftest import SETUP, Client, matrix, take

PORTS = 4
F = np.linspace(1e6, 100e6, 11)


@pytest.fixture
def quiet() -> Iterator[Client]:
    """A client of a bench without noise, ready to sweep four ports."""
    with running_bench(BenchOptions(ports=PORTS, noiseless=True)) as bench:
        client = Client(bench.address)
        client.write(*SETUP, *(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, PORTS + 1)))
        assert client.errors() == []
        yield client
        client.close()


def data(client: Client) -> NDArray[np.complex128]:
    take(client)
    return matrix(client)


def connect(client: Client, text: str) -> NDArray[np.complex128]:
    client.write(f"BENC:CONN '{text}'")
    assert client.ask("BENC:CONN?") == f'"{text}"'
    return data(client)


# -- temperature -------------------------------------------------------------------------------------------


def test_a_step_of_temperature_changes_delay_and_gain_of_both_ways_at_once(quiet: Client) -> None:
    """What is read of a load match of nothing: out and back through one cable, or through two.

    The change of a way is ``10^(gain/20) exp(-j w delay)`` with half of the stated gain, and the relative
    change of the cable's delay (``_drift.py``); directivity and matches stay, so differences scale.
    """
    drift, cable_s = load_bench("default").drift, load_bench("default").error_terms.cable_delay_s
    thru = "1=thru 2,2=thru 1,3=open,4=short"
    opened, shorted = connect(quiet, "1=open"), connect(quiet, "1=short")
    joined = connect(quiet, thru)
    assert quiet.ask("BENC:TEMP?") == "+0.00000000000E+00"
    quiet.write("BENC:TEMP 3")
    warm = [connect(quiet, text) for text in ("1=open", "1=short")]
    joined_warm = connect(quiet, thru)
    both_ways = 10 ** (drift.gain_db_per_k * 3 / 20) * np.exp(
        -4j * np.pi * F * cable_s * drift.delay_per_k * 3
    )
    assert np.max(np.abs(both_ways - 1)) > 1e-3
    change = (warm[0] - warm[1])[:, 0, 0] / (opened - shorted)[:, 0, 0]
    np.testing.assert_allclose(change, both_ways, rtol=1e-9)
    # Out through one, back through the other; the termination behind port 2 is seen through its cable twice.
    np.testing.assert_allclose(joined_warm[:, 1, 0] / joined[:, 1, 0], both_ways, rtol=2e-5)
    quiet.write("BENC:TEMP 0.5 K", "BENC:TEMP -3.5")
    assert quiet.ask("BENC:TEMP?") == "+0.00000000000E+00"
    np.testing.assert_array_equal(connect(quiet, thru), joined)
    quiet.write("BENC:TEMP 201")
    assert quiet.errors() == [-222]


def test_a_step_of_temperature_comes_on_top_of_the_drift(fresh: Client) -> None:
    """On a bench with noise: the same step changes the mean of many readings by as much."""
    fresh.write(*SETUP, "CALC:PAR:EXT 'a',S11", "CALC:PAR:EXT 'b',S22", "SENS:BWID 10")
    fresh.write("SENS:AVER:COUN 100;:SENS:AVER:MODE POIN;:SENS:AVER ON", "BENC:CONN '1=thru 2,2=thru 1'")
    take(fresh)
    cold = matrix(fresh, "1,2", 2)[:, 1, 0]
    fresh.write("BENC:TEMP 50")
    take(fresh)
    warm = matrix(fresh, "1,2", 2)[:, 1, 0]
    fresh.write("BENC:TEMP -50")
    level_db = np.mean(20 * np.log10(np.abs(warm / cold)))
    assert level_db == pytest.approx(50 * load_bench("default").drift.gain_db_per_k, abs=0.02)


# -- hands -------------------------------------------------------------------------------------------------


def test_a_loose_connector_shows_from_the_next_connection_on_and_differs_each_sweep(quiet: Client) -> None:
    """On a load a contact of r and l in series reflects (r + j w l) / 100 ohm more, nearly."""
    load = connect(quiet, "2=load,3=load")
    quiet.write("BENC:FAUL 'loose-connector'")
    np.testing.assert_array_equal(data(quiet), load)
    assert quiet.ask("BENC:FAUL?") == '"loose-connector"'
    loose = connect(quiet, "2=load,3=load"), data(quiet), data(quiet)
    assert quiet.ask("BENC:FAUL?") == '"none"'
    opened, shorted = connect(quiet, "1=open,2=short"), connect(quiet, "1=short,2=open")
    quiet.write("BENC:FAUL 'none'")
    good = connect(quiet, "1=open,2=short"), connect(quiet, "1=short,2=open")
    np.testing.assert_array_equal(connect(quiet, "2=load,3=load"), load)
    tracking = np.abs(good[0] - good[1])[:, 1, 1] / 2
    for one in loose:
        off = np.abs(one - load)
        assert np.all(off[:, 2, 2] == 0)
        ohm = off[:, 1, 1] / tracking * 100
        assert np.all((ohm > 0.9) & (ohm < 3.5))
    assert np.abs(loose[0] - loose[1]).max() > 1e-4
    assert np.abs(loose[1] - loose[2]).max() > 1e-4
    # It stays with the port: an open hides it, a short shows it.
    assert np.abs(shorted - good[1])[:, 1, 1].max() < 1e-3 < np.abs(opened - good[0])[:, 1, 1].min()


def test_open_and_short_of_one_port_are_taken_for_each_other_once(quiet: Client) -> None:
    opened, shorted = connect(quiet, "2=open,3=open"), connect(quiet, "2=short,3=short")
    load = connect(quiet, "2=load,3=load")
    quiet.write("BENC:FAUL 'swapped-standards'")
    np.testing.assert_array_equal(connect(quiet, "2=load,3=load"), load)
    assert quiet.ask("BENC:FAUL?") == '"swapped-standards"'
    first, again = connect(quiet, "2=open,3=open"), connect(quiet, "2=open,3=open")
    second = connect(quiet, "2=short,3=short")
    assert quiet.ask("BENC:FAUL?") == '"none"'
    for found, asked, really in ((first, opened, shorted), (second, shorted, opened)):
        np.testing.assert_array_equal(found[:, 1, 1], really[:, 1, 1])
        np.testing.assert_array_equal(found[:, 2, 2], asked[:, 2, 2])
    np.testing.assert_array_equal(again, first)
    np.testing.assert_array_equal(connect(quiet, "2=load,3=load"), load)
    np.testing.assert_array_equal(connect(quiet, "2=open,3=open"), opened)
    np.testing.assert_array_equal(connect(quiet, "2=short,3=short"), shorted)


def test_what_hands_did_wrong_is_undone_by_arming_none(quiet: Client) -> None:
    opened = connect(quiet, "1=open")
    quiet.write("BENC:FAUL 'swapped-standards'")
    assert np.abs(connect(quiet, "1=open") - opened).max() > 0.5
    quiet.write("BENC:FAUL 'none'")
    np.testing.assert_array_equal(data(quiet), opened)


def test_a_worn_terminator_is_that_of_the_bench_file_and_reads_as_the_right_one(quiet: Client) -> None:
    near = "1=A:12.1,2=A:12.2"
    good = connect(quiet, near)
    quiet.write("BENC:TERM 'A:36=T4'")
    worn = data(quiet)
    assert np.abs(worn - good).max() > 1e-6
    quiet.write("BENC:TERM ''")
    quiet.write("BENC:FAUL 'worn-termination'")
    connect(quiet, "1=open,2=load")
    assert quiet.ask("BENC:FAUL?") == '"worn-termination"'
    np.testing.assert_array_equal(connect(quiet, near), worn)
    assert quiet.ask("BENC:FAUL?;:BENC:TERM?") == '"none";""'
    # Where the pair leads to ports its terminator does nothing.
    both = "1=A:12.1,2=A:12.2,3=A:36.3,4=A:36.6"
    attached = connect(quiet, both)
    quiet.write("BENC:FAUL 'none'")
    np.testing.assert_array_equal(data(quiet), attached)
    np.testing.assert_array_equal(connect(quiet, near), good)


def test_behind_a_tapped_balun_standards_are_swapped_on_both_of_its_ports() -> None:
    """What is on a balun is on both its legs, so the common-mode tap sees the other standard as well."""
    with running_bench(BenchOptions(bench="baluns-tapped", ports=PORTS, noiseless=True)) as bench:
        client = Client(bench.address)
        client.write(*SETUP, *(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, PORTS + 1)))
        opened, shorted = "1=open,2=open,3=open,4=open", "1=short,2=short,3=short,4=short"
        right = connect(client, opened), connect(client, shorted)
        client.write("BENC:FAUL 'swapped-standards'")
        wrong = connect(client, opened), connect(client, shorted)
        for found, asked, really in ((wrong[0], *right), (wrong[1], *right[::-1])):
            np.testing.assert_allclose(found[:, :2, :2], really[:, :2, :2], rtol=0, atol=1e-12)
            np.testing.assert_allclose(found[:, 2:, 2:], asked[:, 2:, 2:], rtol=0, atol=1e-12)
        assert client.errors() == []
        client.close()
