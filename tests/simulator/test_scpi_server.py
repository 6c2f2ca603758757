"""The simulated analyzer over TCP with a bare socket: messages, errors, status, clients, start and stop.

Rules: IEEE 488.2 and SCPI-1999, from memory.
"""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np
import pytest
import pyvisa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.definitions import find_definition
from benchsweep.errors import UnknownName, UsageError
from benchsweep.simulator import BenchOptions, list_specimens, running_bench

from .conftest import SETUP, Client, matrix, take

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
            assert bench.announcement["addresses"] == bench.addresses
            assert bench.addresses["analyzer"] == bench.address
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
