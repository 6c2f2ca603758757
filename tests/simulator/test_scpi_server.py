"""The simulated analyzer over TCP with a bare socket: SCPI behaviour, data, faults, several clients.

Rules: IEEE 488.2 and SCPI-1999, from memory; spellings of the family as public driver code uses them.
"""

from __future__ import annotations

import contextlib
import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np
import pytest
import pyvisa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchsweep.errors import UnknownName, UsageError
from benchsweep.simulator import BenchOptions, list_specimens, running_bench
from benchsweep.simulator._specimen import load_specimen

TIMEOUT_S = 5.0
TRUTH = load_specimen("cord-2m", seed=1)


class Client:
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

    def errors(self) -> list[int]:
        numbers = []
        while (number := int(self.ask("SYST:ERR?").split(",")[0])) != 0:
            numbers.append(number)
        return numbers

    def close(self) -> None:
        self.file.close()
        self.socket.close()


SETUP = (
    "*RST", "*CLS", "FORM REAL,64", "FORM:BORD SWAP", "SENS:CORR OFF", "MMEM:STOR:TRAC:FORM:SNP RI",
    "SENS:SWE:MODE HOLD", "SENS:FREQ:STAR 1E6;STOP 100E6", "SENS:SWE:POIN 11", "CALC:PAR:DEL:ALL",
    "BENCH:CONN ''", "BENCH:FAUL 'none'",
)  # fmt: skip


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with running_bench(BenchOptions(ports=4)) as bench:
        yield bench.address


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


# -- messages and errors -----------------------------------------------------------------------------------


def test_several_queries_answer_in_one_line_and_settings_answer_nothing(fresh: Client) -> None:
    fresh.write("SENS:SWE:POIN 51")
    assert fresh.ask("SENS:SWE:POIN?;:SENS:SWE:TYPE?;*ESE?\r") == "+51;LIN;+0"
    assert fresh.ask("SENS2:FREQ:STAR 2 MHZ;STOP 30 MHZ;*OPC;STAR?") == "+2.00000000000E+06"
    assert fresh.ask("FREQ:STAR? MIN;STAR? MAX") == "+9.00000000000E+03;+3.00000000000E+09"
    assert fresh.errors() == []


def test_a_command_error_drops_the_rest_and_an_execution_error_does_not(fresh: Client) -> None:
    fresh.write("SENS:SWE:POIN 21;:NONSENSE 1;:SENS:SWE:POIN 31")
    assert fresh.ask("SENS:SWE:POIN?") == "+21"
    assert fresh.ask("SYST:ERR?").startswith('-113,"Undefined header')
    fresh.write("SENS:SWE:POIN 1E9;POIN 41")
    assert fresh.ask("SENS:SWE:POIN?") == "+41"
    assert fresh.ask("SYST:ERR:COUN?") == "+1"
    assert fresh.ask("SYST:ERR:NEXT?").startswith('-222,"Data out of range')
    assert fresh.ask("SYST:ERR?") == '+0,"No error"'


@pytest.mark.parametrize(
    ("command", "number"),
    [
        ("SENS:SWE:POIN", -109),
        ("SENS:SWE:POIN 1,2", -108),
        ("SENS:SWE:POIN? 5", -128),
        ("SENS:SWE:TIME 1", -113),
        ("INIT?", -113),
        ("SENS5:SWE:POIN 1", -114),
        ("SOUR:POW5 1", -114),
        ("CALC:PAR:DEF:EXT 'x',S51", -224),
        ("CALC:PAR:DEF:EXT 'x',S0101", -224),
        ("CALC:PAR:DEF:EXT 'x',S1", -224),
        ("CALC:PAR:SEL 'nobody'", -224),
        ("DISP:WIND:TRAC:FEED 'nobody'", -224),
        ("CALC:DATA? SDATA", -221),
        ("CALC:DATA:SNP:PORT? '1,5'", -224),
        ("CALC:DATA:SNP:PORT? '1,1'", -224),
        ("FORM REAL,48", -224),
        ("SENS:FREQ:STAR 1 S", -131),
        ("BENC:CONN '1=A:12.1,2=A:12.1'", -224),
        ("BENC:SPEC 'no-such-cord'", -224),
        ("BENC:FAUL 'earthquake'", -224),
        ("*ESE 256", -222),
        ("*TRG", -211),
    ],
)
def test_each_mistake_has_its_error_number_and_no_answer(fresh: Client, command: str, number: int) -> None:
    fresh.write(command)
    assert fresh.errors() == [number]
    bit = 32 if number > -200 else 16
    assert int(fresh.ask("*ESR?")) & 60 == bit


def test_the_error_queue_is_first_in_first_out_and_30_deep(fresh: Client) -> None:
    fresh.write("SENS:SWE:POIN 1E9", *["BAD:HEADER"] * 40)
    assert fresh.ask("SYST:ERR:COUN?") == "+30"
    assert fresh.errors() == [-222, *[-113] * 28, -350]
    fresh.write("BAD")
    assert fresh.errors() == [-113]


def test_a_line_longer_than_the_buffer_is_dropped_whole(fresh: Client) -> None:
    fresh.write("SENS:SWE:POIN 21;" + "*WAI;" * 500_000 + ":SENS:SWE:POIN 31")
    assert fresh.errors() == [-363]
    assert fresh.ask("SENS:SWE:POIN?") == fresh.ask("SENS:SWE:POIN? DEF")


def test_status_byte_and_event_registers(fresh: Client) -> None:
    assert fresh.ask("*ESR?") == "+0"
    assert fresh.ask("*STB?") == "+0"
    fresh.write("*ESE 32", "*SRE 255", "BAD")
    assert fresh.ask("*SRE?") == "+191"  # bit 6 cannot be enabled
    assert int(fresh.ask("*STB?")) == 4 + 32 + 64
    assert int(fresh.ask("*ESE?;*STB?").split(";")[1]) == 4 + 16 + 32 + 64  # an answer waits
    assert fresh.ask("*ESR?;*ESR?") == "+32;+0"
    fresh.write("*OPC")
    assert fresh.ask("*ESR?") == "+1"
    fresh.write("BAD", "*CLS")
    assert fresh.ask("*STB?;SYST:ERR:COUN?;*ESR?") == "+0;+0;+0"


def test_power_on_shows_once_and_reset_keeps_errors() -> None:
    with running_bench(BenchOptions(ports=2)) as bench:
        client = Client(bench.address)
        assert client.ask("*ESR?") == "+128"
        client.write("BAD", "*RST")
        assert client.errors() == [-113]
        assert client.ask("*TST?;*OPT?;:SYST:VERS?") == '+0;"simulated";1999.0'
        client.close()


@pytest.fixture(scope="module")
def fuzzed(address: str) -> Iterator[Client]:
    client = Client(address)
    yield client
    client.write("*RST", "*CLS", "*ESE 0", "*SRE 0")
    client.close()


def until_identity(client: Client) -> None:
    client.write("", "*IDN?")
    for _ in range(200):
        if client.read().startswith("Simulated works"):
            return
    pytest.fail("no identity came back")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200))
def test_random_bytes_never_stop_the_server(fuzzed: Client, data: bytes) -> None:
    fuzzed.socket.sendall(data)
    until_identity(fuzzed)
    assert -310 not in fuzzed.errors()


HEADERS = st.sampled_from(
    [
        "SENS:FREQ:STAR", "SENS:FREQ:CENT", "SENS:FREQ:SPAN", "SENS:SWE:POIN", "SENS:SWE:MODE", "SENS:BWID",
        "SENS:AVER", "SENS:AVER:COUN", "SOUR:POW2", "INIT", "INIT:CONT", "TRIG:SOUR", "CALC:PAR:EXT", "ABOR",
        "CALC:PAR:SEL", "CALC:PAR:DEL:ALL", "CALC:DATA", "CALC:DATA:SNP:PORT", "CALC:X", "FORM", "FORM:BORD",
        "SENS:CORR", "SENS:CORR:EXT:PORT1", "*ESE", "*SRE", "*OPC", "*CLS", "*RST", "STAT:OPER:ENAB",
        "BENC:CONN", "SENS:SWE:TYPE", "*TRG", "SENS:SWE:GRO:COUN", "MMEM:STOR:TRAC:FORM:SNP", "DISP:ENAB",
    ]
)  # fmt: skip
ARGUMENTS = st.sampled_from(
    [
        "", " 1", " 0", " -1", " 5E6", " 1E300", " MIN", " MAX", " DEF", " ON", " HOLD", " GRO", " SING",
        " MAN", " IMM", " 'a',S21", " 'a'", " 'b',S44", " SDATA", " '1,2'", " '3'", " ASC", " REAL,32",
        " REAL", " SWAP", " LOG", " '1=open,2=thru 3,3=thru 2'", " DB", " 101", " '",
    ]
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(HEADERS, st.sampled_from(["", "?"]), ARGUMENTS), max_size=6))
def test_no_series_of_known_commands_meets_a_bug(fuzzed: Client, units: list[tuple[str, str, str]]) -> None:
    text = ";:".join("".join(unit) for unit in units if "*OPC?" not in "".join(unit[:2])).replace(":*", "*")
    fuzzed.write(text, "ABOR", "SENS:SWE:POIN 11")
    until_identity(fuzzed)
    assert -310 not in fuzzed.errors()


# -- presets and settings ----------------------------------------------------------------------------------


def test_the_preset_has_its_traps(fresh: Client) -> None:
    assert fresh.ask("FORM?;:FORM:BORD?;:MMEM:STOR:TRAC:FORM:SNP?") == "ASC,+0;NORM;MA"
    assert fresh.ask("SENS:CORR?;:SENS:CORR:EXT?;:CALC:FSIM:STAT?;:INIT:CONT?") == "1;0;0;1"
    assert fresh.ask("CALC:PAR:CAT:EXT?;:SYST:CHAN:CAT?") == '"CH1_S11_1,S11";"1"'
    assert fresh.ask("SYST:CAP:HARD:PORT:COUN?") == "+4"
    fresh.write("FORM REAL,32;:FORM:BORD SWAP")
    assert fresh.ask("FORM?;:FORM:BORD?") == "REAL,+32;SWAP"
    fresh.write("SYST:PRES")
    assert fresh.ask("FORM?") == "ASC,+0"


def test_settings_round_and_couple(fresh: Client) -> None:
    fresh.write("SENS:BWID 1234")
    assert float(fresh.ask("SENS:BAND:RES?")) == 1000
    fresh.write("SENS:FREQ:STAR 20E6;STOP 10 MHZ")
    assert [float(x) for x in fresh.ask("FREQ:STAR?;STOP?").split(";")] == [10e6, 10e6]
    fresh.write("SENS:FREQ:CENT 100E6;SPAN 50E6")
    assert [float(x) for x in fresh.ask("FREQ:STAR?;STOP?").split(";")] == [75e6, 125e6]
    fresh.write("SOUR:POW1 -3")
    assert float(fresh.ask("SOUR:POW4?")) == -3
    fresh.write("SOUR:POW:COUP OFF;:SOUR:POW2 -7 DBM")
    assert [float(x) for x in fresh.ask("SOUR:POW1?;:SOUR:POW2?").split(";")] == [-3, -7]
    # points (1.2 / B + 60 us) for one driven port, as the bench file's comment and overhead say
    fresh.write("SENS:SWE:POIN 100;:SENS:BWID 100;:SENS:AVER ON;:SENS:AVER:COUN 4;MODE POIN")
    assert float(fresh.ask("SENS:SWE:TIME?")) == pytest.approx(4 * 100 * (1.2 / 100 + 60e-6))
    assert fresh.errors() == []


def test_names_of_parameters_with_ten_ports_and_more() -> None:
    with running_bench(BenchOptions(ports=16)) as bench:
        client = Client(bench.address)
        client.write("CALC:PAR:DEL:ALL;:CALC:PAR:EXT 'a',S1001;EXT 'b',S0109;EXT 'c',S21;EXT \"d\",'S1616'")
        assert client.errors() == []
        assert client.ask("CALC:PAR:CAT:EXT?") == '"a,S1001,b,S19,c,S21,d,S1616"'
        client.write("CALC:PAR:EXT 'e',S109;EXT 'f',S1716;EXT 'a',S11;DEL 'a';SEL 'b'")
        assert client.errors() == [-224, -224, -224]
        assert client.ask("CALC:PAR:SEL?;CAT?") == '"b";"b,S19,c,S21,d,S1616"'
        client.close()


def test_a_touchstone_specimen_sets_the_preset_grid(tmp_path) -> None:
    lines = ["# MHZ S RI R 50"] + [f"{f} " + " ".join(["0.1 0"] * 16) for f in (2, 4, 6, 8)]
    path = tmp_path / "four.s4p"
    path.write_text("\n".join(lines) + "\n")
    with running_bench(BenchOptions(ports=4, specimen=str(path))) as bench:
        client = Client(bench.address)
        assert client.ask("SENS:SWE:POIN?") == "+4"
        assert [float(x) for x in client.ask("SENS:FREQ:STAR?;STOP?").split(";")] == [2e6, 8e6]
        # Outside the file's range the sweep fails in words, and the data are not numbers.
        client.write("SENS:SWE:MODE HOLD;:SENS:FREQ:STOP 100E6;:FORM REAL,64;:FORM:BORD SWAP")
        client.write("BENC:CONN '1=A:12.1'", "CALC:PAR:SEL 'CH1_S11_1'")
        take(client)
        assert client.ask("SYST:ERR?").startswith("-221,")
        assert np.all(client.block("CALC:DATA? SDATA") == 9.91e37)
        client.close()


# -- sweeps and data ---------------------------------------------------------------------------------------


def test_matrix_trace_and_axis_agree_in_every_format(ready: Client) -> None:
    take(ready)
    s = matrix(ready)
    axis = ready.block("CALC:X?")
    np.testing.assert_array_equal(axis, np.linspace(1e6, 100e6, 11))
    np.testing.assert_array_equal(ready.block("CALC:DATA:SNP:PORT? '1'")[:11], axis)
    ready.write("CALC:PAR:EXT 't',S31;SEL 't'")
    trace = ready.block("CALC:DATA? SDATA")
    np.testing.assert_array_equal(trace[::2] + 1j * trace[1::2], s[:, 2, 0])
    np.testing.assert_allclose(ready.block("CALC:DATA? FDATA"), 20 * np.log10(np.abs(s[:, 2, 0])), rtol=1e-12)
    ready.write("FORM:BORD NORM")
    np.testing.assert_array_equal(ready.block("CALC:DATA? SDATA", ">f8"), trace)
    ready.write("FORM REAL,32")
    np.testing.assert_array_equal(ready.block("CALC:DATA? SDATA", ">f4"), trace.astype("f4"))
    ready.write("FORM ASC,0")
    text = np.array(ready.ask("CALC:DATA? SDATA").split(","), dtype=float)
    np.testing.assert_allclose(text, trace, rtol=1e-11)
    ready.write("FORM REAL,64;:FORM:BORD SWAP;:MMEM:STOR:TRAC:FORM:SNP MA")
    rows = ready.block("CALC:DATA:SNP:PORT? '1,2,3,4'").reshape(33, -1)
    np.testing.assert_allclose(
        rows[1::2] * np.exp(1j * np.radians(rows[2::2])), s.reshape(11, 16).T, atol=1e-12
    )
    ready.write("MMEM:STOR:TRAC:FORM:SNP DB")
    rows = ready.block("CALC:DATA:SNP:PORT? '1,2,3,4'").reshape(33, -1)
    np.testing.assert_allclose(10 ** (rows[1::2] / 20), np.abs(s.reshape(11, 16).T), rtol=1e-9)


def test_two_ports_come_column_by_column_and_more_row_by_row(ready: Client) -> None:
    """The receivers' gains differ, so the raw matrix is not symmetric and the order shows."""
    take(ready)
    s = matrix(ready)
    assert np.abs(s[:, 0, 2] - s[:, 2, 0]).min() > 1e-4
    pair = ready.block("CALC:DATA:SNP:PORT? '3,1'").reshape(9, -1)
    values = pair[1::2] + 1j * pair[2::2]
    np.testing.assert_array_equal(values, [s[:, 2, 2], s[:, 0, 2], s[:, 2, 0], s[:, 0, 0]])
    three = matrix(ready, "3,1,4", 3)
    order = [2, 0, 3]
    np.testing.assert_array_equal(three, s[:, order][:, :, order])


def test_a_port_that_was_not_driven_has_zero_and_then_stale_data(ready: Client) -> None:
    ready.write("CALC:PAR:DEL 'p3'")
    take(ready)
    first = matrix(ready)
    assert np.all(first[:, :, 2] == 0)
    assert np.all(first[:, :, [0, 1, 3]] != 0)
    ready.write("CALC:PAR:DEL 'p2';EXT 'p3',S13")
    take(ready)
    second = matrix(ready)
    assert np.all(second[:, :, 2] != 0)
    np.testing.assert_array_equal(second[:, :, 1], first[:, :, 1])
    assert np.all(second[:, :, 0] != first[:, :, 0])
    ready.write("SENS:SWE:POIN 21")
    assert np.all(matrix(ready) == 0)


def test_the_analyzers_own_correction_and_extension_change_the_data(ready: Client) -> None:
    take(ready)
    raw = matrix(ready)
    legs = [TRUTH.conductors.index(name) for name in ("A1", "A2", "B1", "B2")]
    truth = TRUTH.scatter(np.linspace(1e6, 100e6, 11))[:, legs][:, :, legs]
    ready.write("SENS:CORR ON")
    corrected = matrix(ready)
    assert np.abs(raw - truth).max() > 0.5
    assert 0.01 < np.abs(corrected - truth).max() < 0.2  # plausible, and wrong
    ready.write("SENS:CORR OFF;:SENS:CORR:EXT:PORT1:TIME 1 NS;:SENS:CORR:EXT ON")
    turned = matrix(ready)
    f = np.linspace(1e6, 100e6, 11)
    np.testing.assert_allclose(turned[:, 0, 0], raw[:, 0, 0] * np.exp(4j * np.pi * f * 1e-9), rtol=1e-9)
    np.testing.assert_allclose(turned[:, 2, 1], raw[:, 2, 1], rtol=1e-12)


def noise_of(client: Client, sweeps: int = 1) -> float:
    """Mean square of what two ports with nothing between them seem to transmit."""
    client.write(f"BENC:CONN '1=load,2=load,3=load,4=load';:SENS:SWE:GRO:COUN {sweeps};:SENS:AVER:CLE")
    client.write("SENS:SWE:MODE GRO")
    assert client.ask("*OPC?;:SENS:SWE:MODE?") == "1;HOLD"
    return float(np.mean(np.abs(matrix(client)[:, ~np.eye(4, dtype=bool)]) ** 2))


def test_noise_falls_with_bandwidth_and_with_averaging_done_right(ready: Client) -> None:
    ready.write("SENS:SWE:POIN 801;:SENS:BWID 10E3")
    wide = noise_of(ready)
    assert 10 * np.log10(wide) == pytest.approx(-85, abs=0.5)  # the bench file: -120 dBm in 10 Hz, -5 dBm
    ready.write("SENS:BWID 100")
    assert wide / noise_of(ready) == pytest.approx(100, rel=0.1)
    ready.write("SENS:BWID 10E3;:SENS:AVER ON;:SENS:AVER:COUN 16")
    assert wide / noise_of(ready, sweeps=1) == pytest.approx(1, rel=0.1)  # one sweep of sixteen only
    assert wide / noise_of(ready, sweeps=16) == pytest.approx(16, rel=0.1)
    ready.write("SENS:AVER:CLE")
    for _ in range(4):
        take(ready)
    four = float(np.mean(np.abs(matrix(ready)[:, ~np.eye(4, dtype=bool)]) ** 2))
    assert wide / four == pytest.approx(4, rel=0.1)
    ready.write("SENS:AVER:MODE POIN")
    assert wide / noise_of(ready, sweeps=1) == pytest.approx(16, rel=0.1)


def test_continuous_sweeping_gives_new_data_and_no_pending_operation(ready: Client) -> None:
    ready.write("INIT:CONT ON")
    assert ready.ask("*OPC?;:SENS:SWE:MODE?") == "1;CONT"
    one, two = matrix(ready), matrix(ready)
    assert np.all(one != two)
    ready.write("INIT")
    assert ready.errors() == [-213]
    ready.write("INIT:CONT OFF")
    np.testing.assert_array_equal(matrix(ready), matrix(ready))


def test_a_manual_trigger_is_waited_for(ready: Client) -> None:
    ready.write("TRIG:SOUR MAN", "SENS:SWE:MODE SING", "*OPC")
    assert int(ready.ask("STAT:OPER:COND?")) == 32
    assert ready.ask("*ESR?") == "+0"
    ready.write("INIT")
    assert ready.ask("*OPC?;*ESR?;:STAT:OPER:COND?") == "1;+1;+0"
    assert np.all(matrix(ready) != 0)


# -- overlapped operations ---------------------------------------------------------------------------------


def test_status_and_errors_are_answered_during_a_long_sweep(ready: Client) -> None:
    ready.write("BENC:FAUL 'sweep-never-ends'", "SENS:SWE:MODE SING", "*OPC")
    for _ in range(3):
        assert ready.ask("*ESR?;:SYST:ERR?;:STAT:OPER:COND?") == '+0;+0,"No error";+8'
    ready.write("INIT", "SENS:SWE:MODE SING")
    assert ready.errors() == [-213, -213]
    assert ready.ask("*ESR?;:SENS:SWE:MODE?") == "+16;SING"
    ready.write("ABOR")
    assert ready.ask("*ESR?;:SENS:SWE:MODE?;:STAT:OPER:COND?;EVEN?") == "+1;HOLD;+0;+8"
    take(ready)  # once only
    assert ready.errors() == []


def test_real_computation_does_not_block_the_queries() -> None:
    """The specimen of this sweep takes far longer to compute than a query may take to be answered."""
    with running_bench(BenchOptions(ports=16, specimen="cord-2m")) as bench:
        client = Client(bench.address)
        client.write(*SETUP, "SENS:SWE:POIN 8001", "CALC:PAR:EXT 'a',S11", "BENC:CONN '1=A:12.1'")
        assert client.errors() == []
        client.write("SENS:SWE:MODE SING;*OPC")
        answers = []
        while True:
            before = time.perf_counter()
            done = int(client.ask("*ESR?"))
            answers.append(time.perf_counter() - before)
            if done & 1:
                break
        assert len(answers) > 10
        assert np.median(answers) < 0.1 * sum(answers)
        client.close()


def test_a_wait_is_ended_by_cls_of_another_client(ready: Client, address: str) -> None:
    other = Client(address)
    ready.write("BENC:FAUL 'sweep-never-ends'", "SENS:SWE:MODE SING", "*OPC", "*OPC?", "*IDN?")
    while other.ask("STAT:OPER:COND?") != "+8":
        time.sleep(0.01)
    other.write("*CLS")
    assert ready.read().startswith("Simulated works")  # the cancelled *OPC? gives no answer
    other.write("ABOR")
    assert other.ask("*ESR?") == "+0"  # and the cancelled *OPC no event
    other.close()


def test_two_clients_share_the_instrument_and_not_the_answers(ready: Client, address: str) -> None:
    other = Client(address)
    ready.write("SENS:SWE:POIN 33")
    assert ready.ask("SENS:SWE:POIN?") == "+33"
    assert other.ask("SENS:SWE:POIN?;:SENS:SWE:TYPE?") == "+33;LIN"
    other.close()
    assert ready.ask("*OPC?") == "1"


def test_real_time_sweeps_last_as_long_as_sweep_time_says(tmp_path) -> None:
    from benchsweep.definitions import find_definition

    text = find_definition("benches", "default").read_text()
    path = tmp_path / "slow.toml"
    path.write_text(text.replace("real_time = false", "real_time = true"))
    with running_bench(BenchOptions(bench=str(path), ports=2)) as bench:
        client = Client(bench.address)
        client.write(*SETUP, "CALC:PAR:EXT 'a',S11;EXT 'b',S22", "SENS:SWE:POIN 100;:SENS:BWID 1000")
        wanted = 2 * float(client.ask("SENS:SWE:TIME?"))
        before = time.perf_counter()
        take(client)
        assert time.perf_counter() - before >= wanted > 0.2
        assert client.errors() == []
        client.close()


# -- simulated faults --------------------------------------------------------------------------------------


def test_invalid_points_wrong_count_and_instrument_error_come_once(ready: Client) -> None:
    ready.write("BENC:FAUL 'invalid-points'")
    assert ready.ask("BENC:FAUL?") == '"invalid-points"'
    take(ready)
    assert ready.ask("BENC:FAUL?") == '"none"'
    bad = matrix(ready)
    assert 0 < np.sum(bad[:, 0, 0].real == 9.91e37) < 11
    take(ready)
    assert np.abs(matrix(ready)).max() < 10
    ready.write("BENC:FAUL 'wrong-count'")
    assert ready.block("CALC:X?").size == 9
    assert ready.block("CALC:X?").size == 11
    ready.write("BENC:FAUL 'instrument-error'")
    take(ready)
    assert ready.errors() == [-300]
    assert int(ready.ask("*ESR?")) == 8


def test_a_truncated_block_leaves_the_link_open(ready: Client) -> None:
    take(ready)
    ready.write("BENC:FAUL 'truncate-block'", "CALC:X?")
    ready.socket.settimeout(0.3)
    received = ready.socket.recv(1000)
    assert received.startswith(b"#288")
    assert len(received) == (4 + 88) // 2
    with pytest.raises(TimeoutError):  # nothing more comes
        ready.socket.recv(1000)
    ready.socket.settimeout(TIMEOUT_S)
    ready.socket.sendall(b"*ESE?\n")
    assert ready.socket.recv(100) == b"+0\n"


def test_a_dropped_link_ends_in_the_sweep_or_in_the_block(ready: Client, address: str) -> None:
    ready.write("BENC:FAUL 'drop-link'", "SENS:SWE:MODE SING", "*OPC?")
    with contextlib.suppress(ConnectionError):
        assert ready.file.read(1) == b""
    other = Client(address)
    assert other.ask("*OPC?") == "1"
    other.write("FORM REAL,64", "BENC:FAUL 'drop-link'", "CALC:X?")
    assert 0 < len(other.file.read()) < 92
    other.close()
    third = Client(address)
    assert third.ask("BENC:FAUL?") == '"none"'
    third.close()


def test_a_bug_in_a_handler_is_an_entry_of_the_queue(ready: Client, monkeypatch) -> None:
    from benchsweep.simulator._bench import Bench

    def broken(*_: object) -> None:
        raise ZeroDivisionError("made for a test")

    monkeypatch.setattr(Bench, "connect", broken)
    ready.write("BENC:CONN '1=open';:SENS:SWE:POIN 15")
    assert ready.ask("SENS:SWE:POIN?") == "+15"
    assert ready.ask("SYST:ERR?") == '-310,"System error;ZeroDivisionError: made for a test"'
    monkeypatch.setattr(Bench, "measure", broken)
    take(ready)
    assert ready.errors() == [-310]
    assert np.all(matrix(ready).real == 9.91e37)


# -- the bench ---------------------------------------------------------------------------------------------


def test_connections_are_read_back_and_the_specimen_exchanged(ready: Client) -> None:
    ready.write('BENCH:CONNECT "3=load,1=thru 2,2=thru 1"')
    assert ready.ask("BENC:CONN?") == '"1=thru 2,2=thru 1,3=load"'
    ready.write("BENC:CONN '1=A:12.1,2=B:12.1'")
    take(ready)
    before = matrix(ready)
    other = next(name for name in list_specimens() if name != "cord-2m")
    ready.write(f"BENC:SPEC '{other}'")
    assert ready.ask("BENC:SPEC?") == f'"{other}"'
    np.testing.assert_array_equal(matrix(ready), before)  # takes effect with the next sweep
    take(ready)
    assert np.abs(matrix(ready) - before).max() > 0.01
    ready.write("BENC:SPEC 'cord-2m'")
    assert ready.errors() == []


def test_the_identity_stands_for_the_error_terms() -> None:
    found = {}
    for key, options in {
        "one": BenchOptions(ports=2, noiseless=True),
        "again": BenchOptions(ports=2, noiseless=True),
        "seed": BenchOptions(ports=2, noiseless=True, seed=2),
        "ports": BenchOptions(ports=4, noiseless=True),
    }.items():
        with running_bench(options) as bench:
            client = Client(bench.address)
            client.write(*SETUP, "CALC:PAR:EXT 'a',S11;SEL 'a'", "BENC:CONN '1=load'")
            take(client)
            found[key] = client.ask("*IDN?"), client.block("CALC:DATA? SDATA")
            client.close()
            assert bench.announcement["addresses"] == {"analyzer": bench.address}
            assert bench.announcement["schema"] == "benchsweep.bench/1"
    assert found["one"][0].split(",")[:2] == ["Simulated works", "bench analyzer 2 ports"]
    assert len(found["one"][0].split(",")) == 4
    assert found["one"][0] == found["again"][0]
    np.testing.assert_array_equal(found["one"][1], found["again"][1])
    assert len({identity for identity, _ in found.values()}) == 3
    assert np.abs(found["one"][1] - found["seed"][1]).max() > 1e-3


def test_options_that_describe_no_bench_are_refused(address: str) -> None:
    port = int(address.split("::")[2])
    for options, error, words in (
        (BenchOptions(bench="nowhere"), UnknownName, "nowhere"),
        (BenchOptions(specimen="nothing"), UnknownName, "nothing"),
        (BenchOptions(family="shouting"), UnknownName, "shouting"),
        (BenchOptions(ports=5), UsageError, "5 ports"),
        (BenchOptions(seed=-1), UsageError, "seed -1"),
        (BenchOptions(port=port), UsageError, f"port {port}"),
        (BenchOptions(port=70_000), UsageError, "port 70000"),
    ):
        with pytest.raises(error, match=words) as caught, running_bench(options):
            pass
        assert caught.value.hint
        assert "\n" not in caught.value.message


SERVE = """
import json
from benchsweep.simulator import BenchOptions, serve
serve(BenchOptions(ports=2), lambda document: print(json.dumps(document), flush=True))
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_served_bench_ends_cleanly_at_a_signal_even_in_a_sweep(number: signal.Signals) -> None:
    command = [sys.executable, "-W", "error", "-c", SERVE]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        client = Client(json.loads(process.stdout.readline())["addresses"]["analyzer"])
        client.write("BENC:FAUL 'sweep-never-ends'", "INIT:CONT 0;:INIT;*OPC?")
        with contextlib.closing(Client(client.address)) as other:
            while other.ask("STAT:OPER:COND?") != "+8":
                time.sleep(0.01)
        process.send_signal(number)
        assert process.wait(20) == 0
        assert client.file.read() == b""
        assert process.stderr.read() == ""
        client.close()


def test_a_client_that_does_not_read_does_not_hold_up_the_end() -> None:
    with running_bench(BenchOptions(ports=4)) as bench:
        client = Client(bench.address)
        client.write("FORM REAL,64;:SENS:SWE:POIN 20001;:CALC:PAR:DEL:ALL;:SENS:SWE:MODE HOLD")
        client.write(*["CALC:DATA:SNP:PORT? '1,2,3,4'"] * 4)  # 5 MB each
        time.sleep(0.3)
        before = time.perf_counter()
    assert time.perf_counter() - before < 5
    client.close()


def test_pyvisa_py_reads_identity_and_blocks(ready: Client, address: str) -> None:
    """The library that most users come with: pyvisa with its pure Python back end."""
    take(ready)
    expected = ready.block("CALC:DATA:SNP:PORT? '1,2'")
    manager = pyvisa.ResourceManager("@py")
    resource = manager.open_resource(address, read_termination="\n", write_termination="\n", timeout=5000)
    try:
        assert resource.query("*IDN?").startswith("Simulated works,bench analyzer 4 ports,")
        values = resource.query_binary_values(
            "CALC:DATA:SNP:PORT? '1,2'", datatype="d", is_big_endian=False, container=np.array
        )
        np.testing.assert_array_equal(values, expected)
    finally:
        resource.close()
        manager.close()
