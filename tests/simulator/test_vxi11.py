"""The VXI-11 listener with calls packed by hand (VXI-11 1.0 core channel from memory; RFC 5531, RFC 4506)."""

from __future__ import annotations

import socket
import struct
import time
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.simulator import RunningBench

from .conftest import TIMEOUT_S, Asking, Client

PROGRAM = 0x0607AF
CREATE, WRITE, READ, STATUS, TRIGGER, CLEAR, REMOTE, LOCAL, LOCK, UNLOCK = range(10, 20)
ENABLE_SRQ, DOCMD, DESTROY, CREATE_INTERRUPT = 20, 22, 23, 25
WAIT_LOCK, END, TERMINATOR = 1, 8, 128
TIMED_OUT, LOCKED, NO_LOCK, NO_LINK, NOT_SUPPORTED, NOT_ACCESSIBLE = 15, 11, 12, 4, 8, 3


def packed(*values: int | bytes) -> bytes:
    return b"".join(
        struct.pack("!I", value)
        if isinstance(value, int)
        else struct.pack("!I", len(value)) + value + bytes(-len(value) % 4)
        for value in values
    )


class Rpc:
    """One connection that makes calls."""

    def __init__(self, address: str) -> None:
        port = int(address.split("::")[1].split(",")[1])
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=TIMEOUT_S)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.file = self.socket.makefile("rb")
        self.number = 0

    def raw(
        self,
        procedure: int,
        arguments: bytes = b"",
        *,
        program: int = PROGRAM,
        version: int = 1,
        cut: int = 0,
    ) -> tuple[int, bytes]:
        """Return accept state and result; `cut` sends the record in fragments of that size."""
        self.number += 1
        record = packed(self.number, 0, 2, program, version, procedure, 0, b"", 0, b"") + arguments
        size = cut or len(record)
        pieces = [record[i : i + size] for i in range(0, len(record), size)]
        for index, piece in enumerate(pieces):
            last = (index == len(pieces) - 1) << 31
            self.socket.sendall(struct.pack("!I", last | len(piece)) + piece)
        return self.reply()

    def reply(self) -> tuple[int, bytes]:
        header = self.file.read(4)
        if len(header) < 4:
            raise EOFError
        mark = struct.unpack("!I", header)[0]
        assert mark >> 31
        body = self.file.read(mark & 0x7FFF_FFFF)
        number, kind, state, flavour, length, accepted = struct.unpack("!6I", body[:24])
        assert (number, kind, state, flavour, length) == (self.number, 1, 0, 0, 0)
        return accepted, body[24:]

    def call(self, procedure: int, *values: int | bytes) -> bytes:
        accepted, result = self.raw(procedure, packed(*values))
        assert accepted == 0
        return result

    def close(self) -> None:
        self.file.close()
        self.socket.close()


class Vxi11(Rpc, Asking):
    """A client with one link."""

    def __init__(self, address: str) -> None:
        super().__init__(address)
        error, self.link, abort_port, self.largest = struct.unpack(
            "!4I", self.call(CREATE, 7, 0, 0, b"inst0")
        )
        assert (error, abort_port) == (0, 0)
        assert self.largest >= 1024

    def write(self, text: str, flags: int = END, lock_ms: int = 0) -> int:
        data = text.encode()
        error, size = struct.unpack("!2I", self.call(WRITE, self.link, 1000, lock_ms, flags, data))
        assert size == (0 if error else len(data))
        return error

    def read(
        self, count: int = 1 << 20, milliseconds: int = 4000, terminator: str = ""
    ) -> tuple[int, int, bytes]:
        flags = TERMINATOR if terminator else 0
        end = ord(terminator) if terminator else 0
        result = self.call(READ, self.link, count, milliseconds, 0, flags, end)
        error, reason, length = struct.unpack("!3I", result[:12])
        assert len(result) == 12 + length + -length % 4
        return error, reason, result[12 : 12 + length]

    def ask(self, text: str) -> str:
        assert self.write(text) == 0
        error, reason, data = self.read()
        assert (error, reason) == (0, 4)
        return data.decode("latin-1").removesuffix("\n")

    def status(self) -> int:
        error, byte = struct.unpack("!2I", self.call(STATUS, self.link, 0, 0, 0))
        assert error == 0
        return byte

    def generic(self, procedure: int, flags: int = 0, lock_ms: int = 0) -> int:
        return struct.unpack("!I", self.call(procedure, self.link, flags, lock_ms, 0))[0]


@pytest.fixture
def client(bench: RunningBench) -> Iterator[Vxi11]:
    found = Vxi11(bench.addresses["vxi11"])
    found.write("BENC:FAUL 'none'")
    found.write("*RST;*CLS;*ESE 0;*SRE 0")
    assert found.errors() == []
    yield found
    found.close()


# -- messages and answers ----------------------------------------------------------------------------------


def test_the_same_analyzer_answers(client: Vxi11, lines: Client) -> None:
    assert client.ask("*IDN?") == lines.ask("*IDN?")
    client.write("SENS:SWE:", flags=0)
    client.write("POIN 2", flags=0)
    assert client.ask("5;POIN?\r\n") == "+25"
    assert lines.ask("SENS:SWE:POIN?") == "+25"


@pytest.mark.parametrize("count", [1, 7, 4000, 16008, 16009, 100_000])
def test_an_answer_is_read_in_chunks_of_any_size(client: Vxi11, lines: Client, count: int) -> None:
    points = 11 if count < 100 else 2000
    client.write(f"FORM REAL,64;:SENS:SWE:POIN {points};:CALC:X?")
    payload = b"".join(
        (b"#288" if points == 11 else b"#516000", lines.block("CALC:X?", ">f8").tobytes(), b"\n")
    )
    data = b""
    while True:
        error, reason, part = client.read(count)
        assert error == 0
        data += part
        assert reason == (1 if len(part) == count else 0) | (4 if len(data) == len(payload) else 0)
        if reason & 4:
            break
    assert data == payload
    assert client.errors() == []


def test_a_terminator_ends_a_read_inside_an_answer(client: Vxi11) -> None:
    client.write("SENS:SWE:TYPE?;*ESE?")
    assert client.read(terminator=";") == (0, 2, b"LIN;")
    assert client.status() == 16
    assert client.read(terminator="\n") == (0, 2 | 4, b"+0\n")
    assert client.status() == 0


def test_a_new_message_drops_the_answer_that_was_not_read(client: Vxi11) -> None:
    client.write("*IDN?")
    while client.status() != 16:
        time.sleep(0.01)
    client.write("SENS:SWE:TYPE?")
    assert client.read() == (0, 4, b"LIN\n")
    assert client.errors() == [-410]


def test_reading_without_having_asked_times_out_and_is_unterminated(client: Vxi11) -> None:
    before = time.perf_counter()
    assert client.read(milliseconds=100) == (TIMED_OUT, 0, b"")
    assert time.perf_counter() - before >= 0.09
    assert client.errors() == [-420]
    client.write("NONSENSE?")
    assert client.read(milliseconds=50)[0] == TIMED_OUT
    assert client.errors() == [-113, -420]


def test_a_read_that_timed_out_can_be_made_again(client: Vxi11, lines: Client) -> None:
    client.write("INIT:CONT 0;:SENS:SWE:POIN 3;:BENC:FAUL 'sweep-never-ends'")
    client.write("INIT;*OPC?")
    assert client.read(milliseconds=50) == (TIMED_OUT, 0, b"")
    lines.write("ABOR")
    assert client.read() == (0, 4, b"1\n")
    assert client.errors() == []


# -- device clear, status, trigger, locks ------------------------------------------------------------------


def test_device_clear_frees_a_hung_interface_and_ends_a_waiting(client: Vxi11) -> None:
    client.write("BENC:FAUL 'hung-until-clear'")
    client.write("*IDN?")
    assert client.read(milliseconds=50)[0] == TIMED_OUT
    assert client.generic(CLEAR) == 0
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    client.write("INIT:CONT 0;:BENC:FAUL 'sweep-never-ends'")
    client.write("INIT;*OPC?")
    assert client.generic(CLEAR) == 0
    assert client.ask("STAT:OPER:COND?") == "+8"
    client.write("ABOR")
    assert client.errors() == []


def test_trigger_remote_and_local(client: Vxi11) -> None:
    client.write("INIT:CONT 0;:SENS:SWE:POIN 3;:TRIG:SOUR MAN;:INIT")
    assert client.generic(REMOTE) == client.generic(LOCAL) == 0
    assert client.ask("STAT:OPER:COND?") == "+32"
    assert client.generic(TRIGGER) == 0
    assert client.ask("*OPC?;:STAT:OPER:COND?") == "1;+0"


def test_a_lock_keeps_other_links_out(client: Vxi11, bench: RunningBench) -> None:
    other = Vxi11(bench.addresses["vxi11"])

    def lock(link: Vxi11, flags: int = 0, milliseconds: int = 0) -> int:
        return struct.unpack("!I", link.call(LOCK, link.link, flags, milliseconds))[0]

    def unlock(link: Vxi11) -> int:
        return struct.unpack("!I", link.call(UNLOCK, link.link))[0]

    assert unlock(client) == NO_LOCK
    assert lock(client) == 0
    assert lock(client) == lock(other) == LOCKED
    before = time.perf_counter()
    assert other.write("*IDN?") == LOCKED
    assert time.perf_counter() - before < 0.05
    assert other.write("*IDN?", flags=END | WAIT_LOCK, lock_ms=100) == LOCKED
    assert time.perf_counter() - before >= 0.09
    assert client.ask("SENS:SWE:TYPE?") == "LIN"
    assert unlock(client) == 0
    assert other.ask("SENS:SWE:TYPE?") == "LIN"
    assert lock(other) == 0
    other.close()
    assert lock(client, WAIT_LOCK, 2000) == 0
    assert unlock(client) == 0


def test_a_client_that_goes_while_it_waits_gives_its_lock_back(client: Vxi11, bench: RunningBench) -> None:
    other = Vxi11(bench.addresses["vxi11"])
    assert other.call(LOCK, other.link, 0, 0) == packed(0)
    record = packed(99, 0, 2, PROGRAM, 1, READ, 0, b"", 0, b"", other.link, 100, 3_600_000, 0, 0, 0)
    other.socket.sendall(struct.pack("!I", 1 << 31 | len(record)) + record)
    other.close()
    assert client.call(LOCK, client.link, WAIT_LOCK, 3000) == packed(0)
    assert client.call(UNLOCK, client.link) == packed(0)
    assert client.errors() == [-420]


# -- nonsense ----------------------------------------------------------------------------------------------


def test_calls_that_are_none_are_refused_and_the_connection_goes_on(client: Vxi11) -> None:
    assert client.raw(WRITE, program=0x0607B0) == (1, b"")
    assert client.raw(WRITE, version=2) == (2, packed(1, 1))
    assert client.raw(99) == (3, b"")
    assert client.raw(WRITE, packed(client.link, 0)) == (4, b"")
    assert client.raw(WRITE, packed(client.link, 0, 0, END, 1000)) == (4, b"")
    assert client.raw(0) == (0, b"")
    assert client.call(WRITE, 9999, 0, 0, END, b"*RST") == packed(NO_LINK, 0)
    assert client.call(READ, 9999, 10, 0, 0, 0, 0) == packed(NO_LINK, 0, b"")
    assert client.call(DESTROY, 9999) == packed(NO_LINK)
    assert client.call(CREATE, 1, 0, 0, b"inst7") == packed(NOT_ACCESSIBLE, 0, 0, 0)
    assert client.call(ENABLE_SRQ, client.link, 1, b"") == packed(NOT_SUPPORTED)
    assert client.call(DOCMD, client.link, 0, 0, 0, 0, 0, 0, b"") == packed(NOT_SUPPORTED, b"")
    assert client.call(CREATE_INTERRUPT, 0, 0, 0, 0, 0) == packed(NOT_SUPPORTED)
    accepted, result = client.raw(STATUS, packed(client.link, 0, 0, 0), cut=5)
    assert (accepted, result) == (0, packed(0, 0))
    assert client.errors() == []


def test_a_connection_has_several_links_and_each_can_be_given_back(client: Vxi11) -> None:
    error, second, _, _ = struct.unpack("!4I", client.call(CREATE, 8, 0, 0, b"INST0"))
    assert error == 0
    assert second != client.link
    assert client.call(WRITE, second, 0, 0, END, b"SENS:SWE:TYPE?") == packed(0, 14)
    assert client.ask("*ESE?") == "+0"
    assert client.call(READ, second, 100, 1000, 0, 0, 0) == packed(0, 4, b"LIN\n")
    assert client.call(DESTROY, second) == packed(0)
    assert client.call(DESTROY, second) == packed(NO_LINK)


@pytest.mark.parametrize(
    "data", [b"GET / HTTP/1.1\r\n\r\n", b"\xff" * 64, packed(0x8000_0008, 1, 1), b"\x80\x00\x00\x00"]
)
def test_what_is_no_call_ends_the_connection(bench: RunningBench, data: bytes) -> None:
    rpc = Rpc(bench.addresses["vxi11"])
    rpc.socket.sendall(data)
    try:
        assert rpc.file.read(1) == b""
    except ConnectionResetError:
        pass
    rpc.close()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.integers(9, 27),
            st.lists(st.one_of(st.integers(0, 3), st.sampled_from([b"", b"*IDN?", b"\xff'"])), max_size=6),
        ),
        max_size=6,
    )
)
def test_no_series_of_calls_stops_the_listener(
    bench: RunningBench, calls: list[tuple[int, list[int | bytes]]]
) -> None:
    client = Vxi11(bench.addresses["vxi11"])
    for procedure, values in calls:
        if procedure == READ:  # with a time-out that nobody has to wait for
            values = [17, 20, *(value for value in values if isinstance(value, int))]
        client.raw(procedure, packed(client.link, *values) if procedure != CREATE else packed(*values))
    client.close()
    again = Vxi11(bench.addresses["vxi11"])
    assert again.generic(CLEAR) == 0
    assert again.ask("*IDN?").startswith("Simulated works")
    assert -310 not in again.errors()
    again.close()


# -- faults ------------------------------------------------------------------------------------------------


def test_late_cut_and_truncated_answers(client: Vxi11, bench: RunningBench) -> None:
    client.write("BENC:FAUL 'late-answer',0,0.1")
    client.write("*IDN?")
    assert client.read(milliseconds=30)[0] == TIMED_OUT
    assert client.ask("SENS:SWE:TYPE?") == "LIN"  # the late one was overtaken
    assert client.errors() == [-410]
    client.write("FORM REAL,64;:SENS:SWE:POIN 11;:BENC:FAUL 'none'")
    client.write("BENC:FAUL 'truncate-block'")
    client.write("CALC:X?")
    error, reason, data = client.read()
    assert (error, reason, len(data)) == (0, 0, 46)
    assert client.read(milliseconds=50)[0] == TIMED_OUT
    assert client.errors() == [-420]
    other = Vxi11(bench.addresses["vxi11"])
    other.write("BENC:FAUL 'drop-link'")
    other.write("CALC:X?")
    with pytest.raises((EOFError, ConnectionError)):
        other.read()
    other.close()
