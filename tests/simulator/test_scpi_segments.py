"""Sweep types over TCP with a bare socket: logarithmic and segmented, in the two forms of segment tables."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client
from .family_clients import DRIVERS, Driver, complex_trace

ONE_BY_ONE = ("named-measurement", "numbered-measurement", "quoted-parameter")
AXIS = {
    "named-measurement": "CALC:X?",
    "numbered-measurement": "CALC:MEAS1:X?",
    "quoted-parameter": "CALC:DATA:STIM?",
    "numbered-trace": "SENS:FREQ:DATA?",
}
SEGMENTS = ((1e6, 10e6, 10, 100.0), (10e6, 100e6, 19, 10e3), (200e6, 250e6, 2, 1e3))
GRID = np.concatenate([np.linspace(*row[:3]) for row in SEGMENTS])
OVERHEAD_S = 60e-6  # the bench file

one_by_one = pytest.mark.parametrize("served", ONE_BY_ONE, indirect=True, scope="module")
as_a_list = pytest.mark.parametrize("served", ["numbered-trace"], indirect=True, scope="module")


@pytest.fixture(scope="module", params=list(AXIS))
def served(request: pytest.FixtureRequest) -> Iterator[tuple[str, str]]:
    with running_bench(BenchOptions(ports=2, family=request.param)) as bench:
        yield request.param, bench.address


@pytest.fixture
def family(served: tuple[str, str]) -> str:
    return served[0]


@pytest.fixture
def driver(family: str) -> Driver:
    return DRIVERS[family]


@pytest.fixture
def client(served: tuple[str, str], driver: Driver) -> Iterator[Client]:
    one = Client(served[1])
    one.write("*RST", "*CLS", "BENC:FAUL 'none'", "BENC:CONN '1=A:12.1,2=B:12.1'", "SENS:SWE:POIN 11")
    driver.set_up(one, (1, 2))
    assert one.errors() == []
    yield one
    one.close()


def write_table(client: Client, family: str, rows: tuple[tuple[float, ...], ...] = SEGMENTS) -> None:
    """Send the table in the family's own form, with a bandwidth for each segment."""
    if family == "numbered-trace":
        flat = ",".join(f"{a!r},{b!r},{n},{w!r}" for a, b, n, w in rows)
        client.write(f"SENS:SEGM:DATA 5,0,1,0,0,0,{len(rows)},{flat}")
    else:
        client.write("SENS:SEGM:DEL:ALL")
        for number, (start, stop, points, width) in enumerate(rows, 1):
            client.write(f"SENS:SEGM{number}:ADD", f"SENS:SEGM{number}:STAT ON")
            client.write(f"SENS:SEGM{number}:FREQ:STAR {start!r}", f"SENS:SEGM{number}:FREQ:STOP {stop!r}")
            client.write(f"SENS:SEGM{number}:SWE:POIN {points}", f"SENS:SEGM{number}:BWID {width!r}")
        client.write("SENS:SEGM:BWID:CONT ON")
    client.write("SENS:SWE:TYPE SEGM")


def axis(client: Client, family: str) -> NDArray[np.float64]:
    return client.block(AXIS[family])


# -- grids -------------------------------------------------------------------------------------------------


def test_a_logarithmic_sweep_has_equal_ratios(client: Client, family: str, driver: Driver) -> None:
    client.write("SENS:FREQ:STAR 1E6;STOP 100E6;:SENS:SWE:TYPE LOG;POIN 21")
    assert client.ask("SENS:SWE:TYPE?") == "LOG"
    driver.take(client)
    grid = axis(client, family)
    np.testing.assert_allclose(grid[1:] / grid[:-1], 10**0.1, rtol=1e-12)
    assert (grid[0], grid[-1]) == pytest.approx((1e6, 100e6), rel=1e-14)
    assert driver.matrix(client, (1, 2)).shape == (21, 2, 2)


def test_segments_are_swept_one_after_the_other(client: Client, family: str, driver: Driver) -> None:
    write_table(client, family)
    assert client.errors() == []
    assert client.ask("SENS:SWE:TYPE?") == "SEGM"
    assert int(client.ask("SENS:SEGM:COUN?")) == 3
    assert int(client.ask("SENS:SWE:POIN?")) == GRID.size
    assert [float(x) for x in client.ask("SENS:FREQ:STAR?;STOP?").split(";")] == [1e6, 250e6]
    driver.take(client)
    np.testing.assert_allclose(axis(client, family), GRID, rtol=1e-14)
    segmented = driver.matrix(client, (1, 2))
    # The shared frequency is measured twice, with the bandwidth of each segment.
    assert np.all(segmented[9] != segmented[10])
    client.write("SENS:SWE:TYPE LIN")
    assert int(client.ask("SENS:SWE:POIN?")) == 11
    assert client.errors() == []


def test_a_segmented_sweep_reads_what_linear_sweeps_read(family: str, driver: Driver) -> None:
    with running_bench(BenchOptions(ports=2, family=family, noiseless=True)) as bench:
        one = Client(bench.address)
        one.write("BENC:CONN '1=A:12.1,2=B:12.1'")
        driver.set_up(one, (1, 2))
        write_table(one, family)
        driver.take(one)
        segmented = driver.matrix(one, (1, 2))
        one.write("SENS:SWE:TYPE LIN")
        parts = []
        for start, stop, points, _ in SEGMENTS:
            one.write(f"SENS:FREQ:STAR {start!r};STOP {stop!r};:SENS:SWE:POIN {points}")
            driver.take(one)
            parts.append(driver.matrix(one, (1, 2)))
        np.testing.assert_allclose(segmented, np.concatenate(parts), rtol=0, atol=1e-13)
        one.close()


def test_noise_follows_the_bandwidth_of_its_segment(client: Client, family: str, driver: Driver) -> None:
    """From 100 Hz to 10 kHz the noise power of two ports with nothing between them grows a hundredfold."""
    client.write("BENC:CONN '1=load,2=load'")
    write_table(client, family, ((1e6, 50e6, 1000, 100.0), (50e6, 100e6, 1000, 10e3)))
    driver.take(client)
    power = np.abs(driver.matrix(client, (1, 2))[:, [0, 1], [1, 0]]) ** 2
    assert power[1000:].mean() / power[:1000].mean() == pytest.approx(100, rel=0.15)


def test_the_time_of_a_sweep_counts_segments_but_in_one_family(client: Client, family: str) -> None:
    write_table(client, family)
    stated = float(client.ask("SENS:SWE:TIME?"))
    true = sum(points * (1.2 / width + OVERHEAD_S) for _, _, points, width in SEGMENTS)
    if family == "quoted-parameter":
        assert stated == pytest.approx(11 * (1.2 / 1e3 + OVERHEAD_S), rel=1e-9)
        assert stated < 0.2 * true
    else:
        assert stated == pytest.approx(true, rel=1e-9)


def test_segments_that_cannot_be_swept_are_refused(client: Client, family: str) -> None:
    falling = ((100e6, 200e6, 5, 1e3), (1e6, 50e6, 5, 1e3))
    write_table(client, family, falling)
    # The list form is refused itself, and then the sweep of no segments too.
    assert client.errors() == ([-222, -221] if family == "numbered-trace" else [-221])
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    write_table(client, family, ((1e6, 2e6, 15_000, 1e3), (2e6, 3e6, 15_000, 1e3)))
    assert client.errors()[0] in (-221, -222)
    assert client.ask("SENS:SWE:TYPE?") == "LIN"


# -- a property at a time ----------------------------------------------------------------------------------


@one_by_one
def test_segments_are_added_and_deleted_in_their_place(client: Client) -> None:
    client.write("SENS:SEGM:DEL:ALL", "SENS:SEGM1:ADD", "SENS:SEGM1:SWE:POIN 5")
    client.write("SENS:SEGM1:ADD", "SENS:SEGM1:SWE:POIN 6", "SENS:SEGM3:ADD", "SENS:SEGM3:SWE:POIN 7")
    assert [int(client.ask(f"SENS:SEGM{n}:SWE:POIN?")) for n in (1, 2, 3)] == [6, 5, 7]
    client.write("SENS:SEGM2:DEL")
    assert [int(client.ask(f"SENS:SEGM{n}:SWE:POIN?")) for n in (1, 2)] == [6, 7]
    client.write("SENS:SEGM5:ADD", "SENS:SEGM3:SWE:POIN?", "SENS:SEGM3:DEL", "SENS:SEGM1:SWE:POIN 0")
    assert client.errors() == [-114, -114, -114, -222]
    client.write("SENS:SEGM1:FREQ:STAR MAX;STOP 5E6;:SENS:SEGM1:BAND 280")
    assert [float(x) for x in client.ask("SENS:SEGM1:FREQ:STAR?;STOP?").split(";")] == [5e6, 5e6]
    assert float(client.ask("SENS:SEGM1:BWID:RES?")) == 300
    client.write("SENS:SEGM:DEL:ALL;:SENS:SWE:TYPE SEGM")
    assert client.errors() == [-221]


@one_by_one
def test_segments_that_are_deleted_under_the_sweep_leave_no_data(client: Client, family: str) -> None:
    write_table(client, family)
    client.write("SENS:SEGM:DEL:ALL", "INIT", AXIS[family])
    assert client.errors() == [-221, -230]
    assert int(client.ask("SENS:SWE:POIN?")) == 0
    assert float(client.ask("SENS:FREQ:STAR?")) == 1e6


@one_by_one
def test_what_a_preset_and_a_new_segment_bring(client: Client, family: str) -> None:
    """One segment too many for who does not delete, and segments that are off for who does not switch on."""
    numbered_first = family != "quoted-parameter"
    assert int(client.ask("SENS:SEGM:COUN?")) == numbered_first
    client.write("SENS:SEGM:DEL:ALL", "SENS:SEGM:ADD")
    assert client.ask("SENS:SEGM1:STAT?;SWE:POIN?") == ("0;+21" if numbered_first else "1;21")
    assert client.ask("SENS:SEGM:BWID:CONT?") == ("0" if numbered_first else "1")
    client.write("SENS:SEGM1:STAT OFF;:SENS:SWE:TYPE SEGM")
    assert client.errors() == [-221]


@one_by_one
def test_without_control_the_channels_bandwidth_is_used(client: Client, family: str, driver: Driver) -> None:
    client.write("BENC:CONN '1=load,2=load'")
    write_table(client, family, ((1e6, 50e6, 1000, 100.0), (50e6, 100e6, 1000, 10e3)))
    client.write("SENS:SEGM:BWID:CONT OFF;:SENS:BWID 1E3")
    driver.take(client)
    power = np.abs(driver.matrix(client, (1, 2))[:, [0, 1], [1, 0]]) ** 2
    assert power[1000:].mean() / power[:1000].mean() == pytest.approx(1, rel=0.15)


@one_by_one
def test_a_segment_that_is_off_is_left_out(client: Client, family: str, driver: Driver) -> None:
    write_table(client, family)
    client.write("SENS:SEGM2:STAT OFF")
    driver.take(client)
    np.testing.assert_allclose(axis(client, family), np.delete(GRID, slice(10, 29)), rtol=1e-14)


# -- the whole table as one list ---------------------------------------------------------------------------


@as_a_list
def test_the_list_comes_back_as_data_in_the_present_format(client: Client) -> None:
    client.write("SENS:SEGM:DATA 5,0,1,0,0,0,2,1E6,10E6,10,100,20E6,30E6,5,280")
    expected = [5, 0, 1, 0, 0, 0, 2, 1e6, 10e6, 10, 100, 20e6, 30e6, 5, 300]
    np.testing.assert_array_equal(client.block("SENS:SEGM:DATA?"), expected)
    client.write("FORM:DATA ASC")
    assert [float(x) for x in client.ask("SENS:SEGM:DATA?").split(",")] == expected
    assert client.ask("SENS:SEGM:COUN?;SWE:POIN?") == "+2;+15"


@as_a_list
def test_flags_add_columns(client: Client) -> None:
    client.write("FORM:DATA ASC;:SENS:SEGM:DATA 5,1,0,0,0,0,1,50E6,20E6,11")
    assert [float(x) for x in client.ask("SENS:SEGM:DATA?").split(",")][7:] == [50e6, 20e6, 11]
    client.write("FORM:DATA REAL;:SENS:SWE:TYPE SEGM")
    np.testing.assert_allclose(client.block("SENS:FREQ:DATA?"), np.linspace(40e6, 60e6, 11))
    client.write("FORM:DATA ASC;:SENS:SEGM:DATA 5,0,1,1,1,1,1,1E6,2E6,3,1E3,-5,0,0")
    assert [float(x) for x in client.ask("SENS:SEGM:DATA?").split(",")][7:] == [1e6, 2e6, 3, 1e3, -5, 0, 0]
    assert client.errors() == []


@pytest.mark.parametrize(
    ("values", "number"),
    [
        ("4,0,0,0,0,0,1,1E6,2E6,3", -224),
        ("5,2,0,0,0,0,1,1E6,2E6,3", -224),
        ("5,0,0,0,0,0,0", -222),
        ("5,0,0,0,0,0,2,1E6,2E6,3", -109),
        ("5,0,0,0,0,0,1,1E6,2E6,3,1E3", -108),
        ("5,0,1,0,0,0,1,1E6,2E6,3", -109),
        ("5,0,0,0,0,0,1,2E6,1E6,3", -222),
        ("5,0,0,0,0,0,1,1E6,2E12,3", -222),
        ("5,0,0,0,0,0,1,1E6,2E6,0", -222),
        ("5,0,0", -109),
    ],
)
@as_a_list
def test_lists_that_do_not_fit_are_refused_whole(client: Client, values: str, number: int) -> None:
    client.write("SENS:SEGM:DATA 5,0,0,0,0,0,1,1E6,9E6,9", f"SENS:SEGM:DATA {values}")
    assert client.errors() == [number]
    assert int(client.ask("SENS:SEGM:SWE:POIN?")) == 9


@as_a_list
def test_the_trace_of_a_segmented_sweep_by_number(client: Client, driver: Driver) -> None:
    write_table(client, "numbered-trace")
    driver.take(client)
    assert complex_trace(client, "CALC:SEL:DATA:SDAT?").size == GRID.size
