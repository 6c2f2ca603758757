"""The HiSLIP listener with frames packed by hand (IVI-6.1, from memory): two sockets, no library."""

from __future__ import annotations

import socket
import struct
import time
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.simulator import BenchOptions, RunningBench, running_bench

from .conftest import TIMEOUT_S, Asking, Client

INITIALIZE, INITIALIZE_RESPONSE, FATAL_ERROR, ERROR, LOCK, LOCK_RESPONSE = 0, 1, 2, 3, 4, 5
DATA, DATA_END, CLEAR_COMPLETE, CLEAR_ACKNOWLEDGE, TRIGGER = 6, 7, 8, 9, 12
INTERRUPTED, ASYNC_INTERRUPTED, MAX_SIZE, MAX_SIZE_RESPONSE = 13, 14, 15, 16
ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE, ASYNC_CLEAR, STATUS_QUERY, STATUS_RESPONSE = 17, 18, 19, 21, 22
ASYNC_CLEAR_ACKNOWLEDGE, LOCK_INFO, LOCK_INFO_RESPONSE = 23, 24, 25
FIRST_ID = 0xFFFF_FF00

Frame = tuple[int, int, int, bytes]


class Wire:
    """One connection that speaks frames."""

    def __init__(self, address: str) -> None:
        port = int(address.split("::")[2].split(",")[1])
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=TIMEOUT_S)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.file = self.socket.makefile("rb")

    def send(self, kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        self.socket.sendall(struct.pack("!2sBBIQ", b"HS", kind, control, parameter, len(payload)) + payload)

    def receive(self) -> Frame:
        header = self.file.read(16)
        if len(header) < 16:
            raise EOFError
        prologue, kind, control, parameter, length = struct.unpack("!2sBBIQ", header)
        assert prologue == b"HS"
        payload = self.file.read(length)
        assert len(payload) == length
        return kind, control, parameter, payload

    def silent(self, seconds: float = 0.1) -> bool:
        self.socket.settimeout(seconds)
        try:
            self.socket.recv(1, socket.MSG_PEEK)
        except TimeoutError:
            return True
        finally:
            self.socket.settimeout(TIMEOUT_S)
        return False

    def is_closed(self) -> bool:
        try:
            return self.file.read(1) == b""
        except ConnectionResetError:
            return True

    def close(self) -> None:
        self.file.close()
        self.socket.close()


class Hislip(Asking):
    """A client: both connections, message ids, the delivered flag."""

    def __init__(self, address: str) -> None:
        self.sync = Wire(address)
        self.sync.send(INITIALIZE, 0, 0x0100 << 16 | int.from_bytes(b"xx", "big"), b"hislip0")
        kind, control, parameter, payload = self.sync.receive()
        assert (kind, control, parameter >> 16, payload) == (INITIALIZE_RESPONSE, 0, 0x0100, b"")
        self.session = parameter & 0xFFFF
        self.asynchronous = Wire(address)
        self.asynchronous.send(ASYNC_INITIALIZE, 0, self.session)
        assert self.asynchronous.receive()[0] == ASYNC_INITIALIZE_RESPONSE
        self.next_id = FIRST_ID
        self.delivered = 0

    def write(self, text: str, kind: int = DATA_END) -> int:
        number, self.next_id = self.next_id, self.next_id + 2
        self.sync.send(kind, self.delivered, number, text.encode())
        self.delivered = 0
        return number

    def read(self, number: int) -> str:
        parts = []
        while True:
            kind, control, parameter, payload = self.sync.receive()
            assert kind in (DATA, DATA_END)
            assert (control, parameter) == (0, number)
            parts.append(payload)
            if kind == DATA_END:
                self.delivered = 1
                return b"".join(parts).decode("latin-1").removesuffix("\n")

    def ask(self, text: str) -> str:
        return self.read(self.write(text))

    def status(self, delivered: int | None = None) -> int:
        flag, self.delivered = (self.delivered if delivered is None else delivered), 0
        self.asynchronous.send(STATUS_QUERY, flag, self.next_id)
        kind, control, _, _ = self.asynchronous.receive()
        assert kind == STATUS_RESPONSE
        return control

    def clear(self) -> None:
        self.asynchronous.send(ASYNC_CLEAR)
        assert self.asynchronous.receive()[0] == ASYNC_CLEAR_ACKNOWLEDGE
        self.sync.send(CLEAR_COMPLETE)
        while self.sync.receive()[0] != CLEAR_ACKNOWLEDGE:
            pass
        self.next_id = FIRST_ID
        self.delivered = 0

    def close(self) -> None:
        self.sync.close()
        self.asynchronous.close()


@pytest.fixture
def client(bench: RunningBench) -> Iterator[Hislip]:
    found = Hislip(bench.addresses["hislip"])
    found.write("BENC:FAUL 'none'")
    found.write("*RST;*CLS;*ESE 0;*SRE 0")
    assert found.errors() == []
    yield found
    found.close()


# -- messages and answers ----------------------------------------------------------------------------------


def test_both_doors_lead_to_the_same_analyzer(client: Hislip, lines: Client) -> None:
    assert client.ask("*IDN?") == lines.ask("*IDN?")
    client.write("SENS:SWE:POIN 33\n")
    assert client.ask("*OPC?") == "1"
    assert lines.ask("*OPC?;:SENS:SWE:POIN?") == "1;+33"
    assert client.ask("SENS:SWE:POIN?\r\n") == "+33"


def test_a_message_ends_where_the_client_says_and_not_before(client: Hislip) -> None:
    client.write("SENS:SWE:", DATA)
    client.write("POIN 2", DATA)
    client.write("7;*ESE", DATA)
    assert client.ask(" 5;:SENS:SWE:POIN?;*ESE?") == "+27;+5"
    client.write("SENS:SWE:POIN 28\nSENS:SWE:TYPE LOG")
    assert client.ask("SENS:SWE:POIN?;TYPE?") == "+28;LOG"
    assert client.errors() == []


@pytest.mark.parametrize("largest", [100, 4096, 1 << 20])
def test_long_answers_come_in_messages_that_the_client_can_take(
    client: Hislip, lines: Client, largest: int
) -> None:
    client.write("FORM REAL,64;:SENS:SWE:POIN 2001")
    client.asynchronous.send(MAX_SIZE, 0, 0, largest.to_bytes(8, "big"))
    kind, _, _, payload = client.asynchronous.receive()
    assert kind == MAX_SIZE_RESPONSE
    assert int.from_bytes(payload, "big") >= 1 << 16
    number = client.write("CALC:X?")
    sizes, data = [], b""
    while True:
        kind, _, parameter, payload = client.sync.receive()
        assert parameter == number
        sizes.append(len(payload) + 16)
        data += payload
        if kind == DATA_END:
            break
    client.delivered = 1
    assert max(sizes) <= largest
    assert len(sizes) == -(-len(data) // (largest - 16))
    assert data[:-1] == b"#516008" + lines.block("CALC:X?", ">f8").tobytes()


def test_the_status_byte_says_that_an_answer_waits(client: Hislip) -> None:
    assert client.status() == 0
    client.write("BAD")
    number = client.write("*IDN?")
    while client.status() != 4 + 16:
        time.sleep(0.01)
    client.read(number)
    assert client.status(delivered=1) == 4
    client.write("*SRE 4")
    assert client.ask("*STB?") == "+68"
    assert client.status(delivered=1) == 68
    assert client.errors() == [-113]


def test_asking_anew_before_the_answer_was_read_is_interrupted(client: Hislip) -> None:
    old = client.write("*IDN?")
    assert client.sync.receive()[2] == old
    # The client threw the answer away: it does not say that it was delivered.
    new = client.write("SENS:SWE:TYPE?")
    assert client.sync.receive() == (INTERRUPTED, 0, new, b"")
    assert client.asynchronous.receive() == (ASYNC_INTERRUPTED, 0, new, b"")
    assert client.read(new) == "LIN"
    assert client.errors() == [-410]


def test_an_answer_that_is_overtaken_is_never_sent(client: Hislip, lines: Client) -> None:
    client.write("INIT:CONT 0;:SENS:SWE:POIN 3;:BENC:FAUL 'sweep-never-ends'")
    client.write("INIT")
    client.write("*OPC?")
    new = client.write("SENS:SWE:TYPE?")
    assert client.sync.silent()
    lines.write("ABOR")
    assert client.sync.receive() == (INTERRUPTED, 0, new, b"")
    assert client.read(new) == "LIN"
    assert client.errors() == [-410]


def test_questions_one_after_the_other_are_not_interrupted(client: Hislip) -> None:
    for _ in range(20):
        assert client.ask("SENS:SWE:TYPE?") == "LIN"
        client.write("SENS:SWE:POIN 21")
        client.write("SENS:SWE:POIN 22")
    assert client.errors() == []
    assert client.asynchronous.silent(0.02)


def test_a_trigger_message_is_a_trigger(client: Hislip) -> None:
    client.write("INIT:CONT 0;:SENS:SWE:POIN 3;:TRIG:SOUR MAN;:INIT;*OPC")
    assert client.ask("*ESR?") == "+0"
    client.sync.send(TRIGGER, client.delivered, client.next_id)
    client.next_id += 2
    client.delivered = 0
    assert client.ask("*OPC?;*ESR?") == "1;+1"
    client.sync.send(TRIGGER, client.delivered, client.next_id)
    client.delivered = 0
    assert client.errors() == [-211]


# -- device clear ------------------------------------------------------------------------------------------


def test_device_clear_ends_the_waiting_and_not_the_sweep(client: Hislip, lines: Client) -> None:
    client.write("INIT:CONT 0;:BENC:FAUL 'sweep-never-ends'")
    client.write("INIT")
    client.write("*OPC?")
    while lines.ask("INIT:CONT?;:STAT:OPER:COND?") != "0;+8":
        time.sleep(0.01)
    client.write("SENS:SWE:POIN 77")
    client.asynchronous.send(ASYNC_CLEAR)
    assert client.asynchronous.receive()[0] == ASYNC_CLEAR_ACKNOWLEDGE
    client.write("SENS:SWE:POIN 78")  # still belongs to what is cleared
    client.sync.send(CLEAR_COMPLETE)
    assert client.sync.receive() == (CLEAR_ACKNOWLEDGE, 0, 0, b"")
    client.next_id, client.delivered = FIRST_ID, 0
    assert client.ask("STAT:OPER:COND?;:SENS:SWE:POIN?") not in ("+8;+77", "+8;+78")
    assert client.ask("STAT:OPER:COND?") == "+8"
    client.write("ABOR")
    assert client.errors() == []


def test_device_clear_frees_a_hung_interface(client: Hislip) -> None:
    client.write("BENC:FAUL 'hung-until-clear'")
    client.write("*IDN?")
    assert client.sync.silent()
    assert client.status() == 0
    client.clear()
    assert client.ask("*IDN?").startswith("Simulated works")
    assert client.errors() == []


def test_device_clear_drops_an_answer_that_nobody_read_and_half_a_message(client: Hislip) -> None:
    client.write("*IDN?")
    while client.status() != 16:
        time.sleep(0.01)
    client.write("SENS:SWE:POIN", DATA)
    assert client.asynchronous.receive()[0] == ASYNC_INTERRUPTED
    client.clear()
    assert client.status() == 4  # -410 stays queued
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    assert client.errors() == [-410]


# -- locks and several clients -----------------------------------------------------------------------------


def lock(client: Hislip, milliseconds: int = 0, key: bytes = b"") -> int:
    client.asynchronous.send(LOCK, 1, milliseconds, key)
    kind, control, _, _ = client.asynchronous.receive()
    assert kind == LOCK_RESPONSE
    return control


def release(client: Hislip) -> int:
    client.asynchronous.send(LOCK, 0, client.next_id)
    return client.asynchronous.receive()[1]


def lock_info(client: Hislip) -> tuple[int, int]:
    client.asynchronous.send(LOCK_INFO)
    kind, control, parameter, _ = client.asynchronous.receive()
    assert kind == LOCK_INFO_RESPONSE
    return control, parameter


def test_an_exclusive_lock_keeps_others_waiting(client: Hislip, bench: RunningBench) -> None:
    other = Hislip(bench.addresses["hislip"])
    assert client.session != other.session
    assert release(client) == 3
    assert lock(client) == 1
    assert lock(client) == 3
    assert lock_info(other) == (1, 1)
    before = time.perf_counter()
    assert lock(other, 100) == 0
    assert time.perf_counter() - before >= 0.09
    number = other.write("*IDN?")
    assert other.sync.silent()
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    assert release(client) == 1
    assert other.read(number).startswith("Simulated works")
    assert lock(other) == 1
    other.close()  # whoever goes gives the lock back
    assert lock(client, 2000) == 1
    assert release(client) == 1
    assert lock_info(client) == (0, 0)


def test_shared_locks_are_shared_by_a_key(client: Hislip, bench: RunningBench) -> None:
    other, third = Hislip(bench.addresses["hislip"]), Hislip(bench.addresses["hislip"])
    assert lock(client, 0, b"bench") == 1
    assert lock(other, 0, b"bench") == 1
    assert lock(third, 0, b"another") == 0
    assert lock(third) == 0
    assert lock_info(third) == (0, 2)
    assert client.ask("SENS:SWE:TYPE?") == other.ask("SENS:SWE:TYPE?") == "LIN"
    assert lock(client) == 1  # exclusive within the group
    assert lock_info(third) == (1, 2)
    assert (release(client), release(client), release(other)) == (1, 2, 2)
    assert third.ask("SENS:SWE:TYPE?") == "LIN"
    other.close()
    third.close()


def test_a_lock_granted_to_a_client_that_has_gone_is_given_back(client: Hislip, bench: RunningBench) -> None:
    gone = Hislip(bench.addresses["hislip"])
    assert lock(client) == 1
    gone.asynchronous.send(LOCK, 1, 20_000)  # waits for its turn
    gone.sync.close()
    time.sleep(0.1)
    assert release(client) == 1
    assert lock(client, 2000) == 1
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    gone.asynchronous.close()


def test_clients_do_not_get_each_others_answers(client: Hislip, bench: RunningBench) -> None:
    others = [Hislip(bench.addresses["hislip"]) for _ in range(4)]
    for index, other in enumerate(others):
        number = other.write(f"SENS:SWE:POIN {10 + index};*ESE?;:SENS:SWE:POIN?")
        assert other.read(number) == f"+0;+{10 + index}"
    numbers = [other.write("*IDN?") for other in others]
    for other, number in zip(others, numbers, strict=True):
        assert other.read(number).startswith("Simulated works")
        other.close()
    assert client.errors() == []


# -- nonsense ----------------------------------------------------------------------------------------------


def test_unknown_and_too_large_messages_are_errors_and_the_link_goes_on(client: Hislip) -> None:
    client.sync.send(99, 0, 0, b"nonsense")
    assert client.sync.receive()[:2] == (ERROR, 1)
    client.asynchronous.send(26)
    assert client.asynchronous.receive()[:2] == (ERROR, 1)
    client.sync.send(DATA_END, 0, client.next_id, bytes((1 << 20) + 1))
    assert client.sync.receive()[:2] == (ERROR, 4)
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    assert client.errors() == []


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"GET / HTTP/1.1\r\nHost: bench\r\n\r\n", 1),
        (struct.pack("!2sBBIQ", b"HS", DATA_END, 0, 0, 0), 3),
        (struct.pack("!2sBBIQ", b"HS", ASYNC_INITIALIZE, 0, 64_999, 0), 3),
        (struct.pack("!2sBBIQ", b"HS", INITIALIZE, 0, 0, 7) + b"hislip9", 3),
        (struct.pack("!2sBBIQ", b"HS", INITIALIZE, 0, 0, 1 << 40), 3),
    ],
)
def test_a_bad_beginning_is_fatal(bench: RunningBench, data: bytes, code: int) -> None:
    wire = Wire(bench.addresses["hislip"])
    wire.socket.sendall(data)
    if len(data) == 16 and data[8:] == (1 << 40).to_bytes(8, "big"):
        wire.socket.shutdown(socket.SHUT_WR)  # nobody waits for a terabyte
        assert wire.is_closed()
    else:
        kind, control, _, text = wire.receive()
        assert (kind, control) == (FATAL_ERROR, code)
        assert text
        assert wire.is_closed()
    wire.close()


def test_messages_need_both_connections(bench: RunningBench) -> None:
    wire = Wire(bench.addresses["hislip"])
    wire.send(INITIALIZE, 0, 0x0100 << 16, b"hislip0")
    assert wire.receive()[0] == INITIALIZE_RESPONSE
    wire.send(DATA_END, 0, FIRST_ID, b"*IDN?")
    assert wire.receive()[:2] == (FATAL_ERROR, 2)
    assert wire.is_closed()
    wire.close()


def test_one_connection_does_not_outlive_the_other(bench: RunningBench) -> None:
    for first, second in (("sync", "asynchronous"), ("asynchronous", "sync")):
        client = Hislip(bench.addresses["hislip"])
        getattr(client, first).close()
        assert getattr(client, second).is_closed()
        getattr(client, second).close()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.booleans(), st.integers(0, 40), st.integers(0, 255), st.integers(0, 2**32 - 1),
            st.sampled_from([b"", b"*IDN?", b"*STB?\n", b"\xff" * 20, b"'", b"FORM REAL,64"]),
        ),
        max_size=8,
    )
)  # fmt: skip
def test_no_series_of_frames_stops_the_listener(
    bench: RunningBench, frames: list[tuple[bool, int, int, int, bytes]]
) -> None:
    client = Hislip(bench.addresses["hislip"])
    for on_sync, kind, control, parameter, payload in frames:
        if kind == LOCK:
            parameter %= 20  # milliseconds
        (client.sync if on_sync else client.asynchronous).send(kind, control, parameter, payload)
    client.close()
    again = Hislip(bench.addresses["hislip"])
    assert again.ask("*IDN?").startswith("Simulated works")
    assert -310 not in again.errors()
    again.close()


# -- faults ------------------------------------------------------------------------------------------------


def test_a_late_answer_is_known_by_its_number(client: Hislip) -> None:
    client.write("BENC:FAUL 'late-answer',0,0.1")
    old = client.write("*IDN?")
    assert client.sync.silent(0.05)
    assert client.read(old).startswith("Simulated works")  # late, and with its own number
    client.write("BENC:FAUL 'late-answer',0,0.1")
    client.write("*IDN?")
    new = client.write("SENS:SWE:TYPE?")
    assert client.sync.receive() == (INTERRUPTED, 0, new, b"")  # overtaken, and never sent
    assert client.read(new) == "LIN"


def test_cut_and_truncated_answers(client: Hislip, bench: RunningBench) -> None:
    client.write("FORM REAL,64;:SENS:SWE:POIN 11")
    client.write("BENC:FAUL 'truncate-block'")
    client.write("CALC:X?")
    kind, _, _, payload = client.sync.receive()
    assert (kind, payload[:4], len(payload)) == (DATA, b"#288", 46)
    assert client.sync.silent(0.05)
    client.clear()
    client.write("BENC:FAUL 'missing-newline'")
    number = client.write("SENS:SWE:TYPE?")
    assert client.sync.receive() == (DATA_END, 0, number, b"LIN")
    other = Hislip(bench.addresses["hislip"])
    other.write("BENC:FAUL 'drop-link'")
    other.write("CALC:X?")
    kind, _, _, payload = other.sync.receive()
    assert kind == DATA
    assert 0 < len(payload) < 92
    assert other.sync.is_closed()
    assert other.asynchronous.is_closed()
    other.close()


def test_a_power_cycle_ends_links_of_every_door() -> None:
    with running_bench(BenchOptions(ports=2)) as bench:
        client, lines = Hislip(bench.addresses["hislip"]), Client(bench.address)
        assert lines.ask("BENC:FAUL 'power-cycle',0,0.2;:BENC:FAUL?") == '"power-cycle"'
        client.write("SENS:SWE:POIN 21")
        assert client.sync.is_closed()
        assert client.asynchronous.is_closed()
        assert lines.file.read() == b""
        turned_away = Wire(bench.addresses["hislip"])
        assert turned_away.is_closed()
        time.sleep(0.25)
        again = Hislip(bench.addresses["hislip"])
        assert again.ask("*ESR?") == "+128"
        for one in (client, lines, turned_away, again):
            one.close()
