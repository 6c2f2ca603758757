"""Whatever bytes an instrument sends: a right answer or a named error, and the next answer is right again.

What is right is told by small parsers of this file, written from IEEE 488.2 and SCPI-1999, not by the code
under test. 3 200 inputs as a rule, ``pytest --thorough`` makes 100 000.
"""

from __future__ import annotations

import re
import socket
import struct
import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pyvisa_py.protocols import rpc, vxi11

from benchsweep.errors import InstrumentError, LinkLost, SwitchError
from benchsweep.instrument import Link, RelayMatrix
from benchsweep.instrument.links._bounded import BoundedTransport
from benchsweep.instrument.links._hislip import HislipTransport
from benchsweep.instrument.links._transport import LineTooLong, Stalled
from benchsweep.instrument.links._vxi11 import Vxi11Transport

# Hypothesis wants the number before pytest hands its options out.
INPUTS = 100_000 if "--thorough" in sys.argv else 3200
PROPERTIES = 10
MOST_READS = 1500

FUZZ = settings(
    max_examples=max(1, INPUTS // PROPERTIES),
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)


class Device:
    """An instrument in memory: what it says first is given, afterwards it behaves as it should.

    `said` is what it sends in reply to the messages, in order, whatever they ask; ``None`` behaves at once.
    """

    def __init__(self, said: list[bytes | None]) -> None:
        self.said = list(said)
        self.enable = "0"

    def reply(self, message: bytes) -> bytes:
        own = self._own(message.decode().rstrip("\n"))
        if self.said:
            given = self.said.pop(0)
            if given is not None:
                return given
        return own

    def _own(self, line: str) -> bytes:
        out: list[str] = []
        for command in line.split(";"):
            if command.startswith("*ESE "):
                self.enable = command[5:]
            elif command == "*ESE?":
                out.append(self.enable)
            elif command == "SYST:ERR?":
                out.append('0,"No error"')
            elif command == "*OPC?":
                out.append("1")
            elif command == "GOOD?":
                out.append("good")
        return (";".join(out) + "\n").encode() if out else b""


class Reads:
    """Counts what is asked of a transport: a loop that does not end fails the test instead of hanging it."""

    def __init__(self) -> None:
        self.reads = 0

    def count(self) -> None:
        self.reads += 1
        if self.reads > MOST_READS:
            pytest.fail(f"more than {MOST_READS} reads")


class StreamMemory(Reads):
    """A byte stream without message boundaries."""

    stream = True

    def __init__(self, device: Device, *, closes: bool) -> None:
        super().__init__()
        self.device = device
        self.closes = closes
        self.waiting = bytearray()

    def send(self, message: bytes, timeout_s: float) -> None:
        for line in message.splitlines(keepends=True):
            self.waiting += self.device.reply(line)

    def _stall(self, received: int) -> Stalled:
        return Stalled(received, closed=self.closes)

    def read_line(self, timeout_s: float) -> bytes:
        self.count()
        line, end, rest = bytes(self.waiting).partition(b"\n")
        if not end:
            raise self._stall(len(self.waiting))
        if len(line) > 1 << 20:
            self.waiting.clear()
            raise LineTooLong
        self.waiting[:] = rest
        return line

    def read_header(self, count: int, timeout_s: float) -> bytes:
        self.count()
        if len(self.waiting) < count:
            raise self._stall(len(self.waiting))
        head = bytes(self.waiting[:count])
        del self.waiting[:count]
        return head

    def read_body(self, count: int, timeout_s: float) -> tuple[NDArray[np.uint8], bytes]:
        self.count()
        if len(self.waiting) < count + 1:
            got = len(self.waiting)
            self.waiting.clear()
            raise self._stall(got)
        data = np.frombuffer(bytes(self.waiting[:count]), np.uint8)
        end = bytes(self.waiting[count : count + 1])
        del self.waiting[: count + 1]
        if end == b"\r":
            end += self.read_header(1, timeout_s)
        return data, end

    def glance(self) -> bytes:
        return bytes(self.waiting[:64])

    def clear(self) -> None:
        pass

    def status(self) -> int | None:
        return None

    def unasked(self) -> bool:
        return bool(self.waiting)

    def close(self) -> None:
        pass


class MessageMemory(BoundedTransport, Reads):
    """Messages whose end is marked, in pieces of a few bytes; a device clear drops what nobody took."""

    def __init__(self, device: Device, *, closes: bool) -> None:
        BoundedTransport.__init__(self)
        Reads.__init__(self)
        self.device = device
        self.closes = closes
        self.waiting: list[bytes] = []

    def send(self, message: bytes, timeout_s: float) -> None:
        self.waiting.clear()
        said = self.device.reply(message)
        self.waiting += [said] if said else []
        self._next_answer()

    def _read(self, view: memoryview, deadline: float) -> int:
        self.count()
        if not self.waiting:
            raise Stalled(0, closed=self.closes)
        piece = self.waiting[0][: min(len(view), 1000)]
        view[: len(piece)] = piece
        self.waiting[0] = self.waiting[0][len(piece) :]
        if not self.waiting[0]:
            self.waiting.pop(0)
            self._ended = True
        return len(piece)

    def clear(self) -> None:
        self.waiting.clear()
        self._next_answer()

    def status(self) -> int | None:
        return 0x10 if self.waiting else 0

    def unasked(self) -> bool:
        return False

    def close(self) -> None:
        pass


Memory = StreamMemory | MessageMemory


@st.composite
def links(draw: st.DrawFn, said: st.SearchStrategy[list[bytes | None]]) -> tuple[Link, list[bytes | None]]:
    replies = draw(said)
    kind = draw(st.sampled_from([StreamMemory, MessageMemory]))
    # Nothing is ever waited for in memory; the time is generous for a machine that is busy otherwise.
    link = Link("ADDR", kind(Device(replies), closes=draw(st.booleans())), 20.0)
    return link, replies


def still_right(link: Link) -> None:
    """Once the instrument behaves, the next answer is the right one; only a lost connection stays lost."""
    memory: Any = link._transport
    memory.device.said.clear()
    try:
        answer = link.query("GOOD?")
    except LinkLost:
        assert memory.closes
    else:
        assert answer == "good"


def named(error: InstrumentError) -> None:
    assert error.message.startswith("ADDR")
    assert error.message.isprintable()
    assert error.hint.isprintable()
    assert error.messages
    assert all(line.isprintable() for line in error.messages)


# What may come where a line of text is expected: words of the trade above all, and any bytes.
WORDS = st.sampled_from(
    [b"", b"0", b"1", b"+1", b"-1", b"1,0", b'0,"No error"', b'+0,"No error"', b'-113,"Undefined header"',
     b"-350,'x'", b'-222,"a ""b"" c"', b"9.91E37", b"NAN", b"#18", b"#0", b"\xff\xfe", b"\x00", b"\x1b[31m",
     b"1;2;3", b"S11",
     b"19", b"137", b"255", b"9" * 40, b'"', b"',", b",,,", "²".encode(), "٣".encode(), b"\r", b"e" * 300]
)  # fmt: skip
ENDS = st.sampled_from([b"\n", b"\n", b"\n", b"\r\n", b"", b"\n\n", b"\nmore\n"])
TEXT = st.builds(
    lambda parts, end: b"".join(parts) + end,
    st.lists(WORDS | st.binary(max_size=12), max_size=4),
    ENDS,
)


class TestText:
    @given(links(st.tuples(TEXT).map(list)))
    @FUZZ
    def test_one_line(self, given: tuple[Link, list[bytes]]) -> None:
        link, (said,) = given
        try:
            answer = link.query("A?")
        except InstrumentError as error:
            named(error)
            assert not link.stream or b"\n" not in said
        else:
            first = said.partition(b"\n")[0] if link.stream else said.removesuffix(b"\n")
            plain = first.decode("utf-8", "backslashreplace").strip()
            assert answer.isprintable()
            if plain.isprintable():
                assert answer == plain
        still_right(link)

    @given(links(st.lists(TEXT, max_size=3).map(lambda junk: [*junk, b'0,"No error"\n'])))
    @FUZZ
    def test_probe(self, given: tuple[Link, list[bytes]]) -> None:
        link, _ = given
        try:
            answer, entry = link.probe("A?", patience_s=0.001)
        except InstrumentError as error:
            named(error)
        else:
            assert answer is None or answer.isprintable()
            assert entry.isprintable()
        still_right(link)

    @given(links(st.lists(TEXT, max_size=6).map(lambda junk: [b"", *junk])))
    @FUZZ
    def test_back_into_step_through_any_junk(self, given: tuple[Link, list[bytes]]) -> None:
        link, _ = given
        try:
            link.resynchronise()
        except InstrumentError as error:
            named(error)
        still_right(link)


def entry_of(line: bytes) -> tuple[int, str] | None:
    """SCPI-1999 vol. 2, SYSTem:ERRor: number, comma, text in quotes of either kind, doubled inside."""
    text = line.decode("utf-8", "backslashreplace").strip()
    number, comma, rest = text.partition(",")
    if not comma or not re.fullmatch(r"[+-]?[0-9]{1,9}", number.strip()):
        return None
    rest = rest.strip()
    if len(rest) > 1 and rest[0] == rest[-1] and rest[0] in "\"'":
        rest = rest[1:-1]
    return int(number), rest.replace('""', '"')


QUEUES = st.lists(
    st.builds(
        lambda number, quote, text, end: f"{number},{quote}{text}{quote}".encode() + end,
        st.integers(-500, 500).filter(bool),
        st.sampled_from(['"', "'", ""]),
        st.text("abc ;,.\"' ", max_size=8),
        st.sampled_from([b"\n", b"\r\n"]),
    )
    | TEXT,
    max_size=4,
)


class TestErrorQueue:
    @given(links(QUEUES))
    @FUZZ
    def test_entries(self, given: tuple[Link, list[bytes]]) -> None:
        link, said = given
        try:
            entries = link.errors()
        except InstrumentError as error:
            named(error)
        else:
            assert all(number for number, _ in entries)
            if all(line.count(b"\n") == 1 and line.isascii() and line.strip().isascii() for line in said):
                wanted = [entry_of(line) for line in said]
                for got, want in zip(entries, wanted, strict=False):
                    assert want is not None
                    assert got[0] == want[0]
        still_right(link)


def block_of(wire: bytes, *, bounded: bool) -> bytes | None:
    """IEEE 488.2, 8.7.9: "#", digits of the length, the length, so many bytes; then the end of line."""
    if len(wire) < 2 or wire[:1] != b"#" or not 49 <= wire[1] <= 57:
        return None
    digits = wire[1] - 48
    length = wire[2 : 2 + digits]
    if len(length) != digits or not re.fullmatch(rb"[0-9]+", length):
        return None
    body = wire[2 + digits : 2 + digits + int(length)]
    end = wire[2 + digits + int(length) :]
    if len(body) != int(length):
        return None
    if bounded:
        return body if end in (b"\n", b"\r\n", b"") else None
    return body if end.startswith((b"\n", b"\r\n")) else None


@st.composite
def wires(draw: st.DrawFn) -> bytes:
    """A block, whole or hurt in one to three places."""
    payload = draw(
        st.binary(max_size=40) | st.integers(0, 4000).map(lambda n: bytes(range(256)) * (n // 256 + 1))
    )
    payload = payload[: len(payload) // 8 * 8] if draw(st.booleans()) else payload
    length = str(len(payload)).zfill(draw(st.integers(1, 6)))
    wire = f"#{len(length)}{length}".encode() + payload + draw(ENDS)
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, min(len(wire), 12)) | st.integers(0, len(wire)))
        hurt = draw(st.sampled_from(["cut", "drop", "put", "change", "front"]))
        if hurt == "cut":
            wire = wire[:at]
        elif hurt == "drop":
            wire = wire[:at] + wire[at + draw(st.integers(1, 9)) :]
        elif hurt == "put":
            wire = wire[:at] + draw(st.binary(min_size=1, max_size=9)) + wire[at:]
        elif hurt == "change":
            wire = wire[:at] + draw(st.sampled_from([b"#", b"0", b"9", b"\n", b" ", b"x"])) + wire[at + 1 :]
        else:
            wire = draw(WORDS) + wire
    return wire


class TestBlocks:
    def check(self, link: Link, wire: bytes, count: int | None) -> None:
        wanted = block_of(wire, bounded=not link.stream)
        if wanted is not None and (len(wanted) % 8 or (count is not None and len(wanted) != 8 * count)):
            wanted = None
        try:
            values = link.query_doubles("D?", count=count)
        except InstrumentError as error:
            named(error)
            assert wanted is None
        else:
            assert wanted is not None
            assert values.tobytes() == wanted
        still_right(link)

    @given(links(st.tuples(wires()).map(list)))
    @FUZZ
    def test_hurt_blocks(self, given: tuple[Link, list[bytes]]) -> None:
        link, (wire,) = given
        self.check(link, wire, None)

    @given(links(st.tuples(wires() | st.binary(max_size=60)).map(list)), st.integers(0, 40))
    @FUZZ
    def test_hurt_blocks_of_a_known_count(self, given: tuple[Link, list[bytes]], count: int) -> None:
        link, (wire,) = given
        self.check(link, wire, count)


STATES = st.lists(
    st.sampled_from([b"0", b"1", b"+1", b" 0", b"1 ", b"2", b"", b"01", b"-1", b"1.0"]), max_size=5
)
READ_BACK = STATES.map(lambda words: b",".join(words) + b"\n") | TEXT


class TestRelays:
    @given(links(st.tuples(READ_BACK).map(list)), st.integers(1, 4))
    @FUZZ
    def test_read_back(self, given: tuple[Link, list[bytes]], count: int) -> None:
        link, (said,) = given
        channels = [f"1!{n}" for n in range(1, count + 1)]
        line = said.partition(b"\n")[0] if link.stream else said.removesuffix(b"\n")
        words = [word.strip() for word in line.split(b",")]
        right = len(words) == count and all(re.fullmatch(rb"\+?[01]", word) for word in words)
        try:
            found = RelayMatrix(link).closed(channels)
        except InstrumentError as error:
            named(error)
            assert not right or (link.stream and b"\n" not in said)
        else:
            assert right
            assert found == {c: w.endswith(b"1") for c, w in zip(channels, words, strict=True)}
        still_right(link)

    @given(
        links(st.tuples(READ_BACK | st.none(), READ_BACK | st.none(), READ_BACK).map(
            lambda each: [b"", b"1\n", each[0], b"", b"1\n", each[1], each[2]]
        )),
        st.sets(st.sampled_from(["1!1", "1!2", "1!3"])),
    )  # fmt: skip
    @FUZZ
    def test_no_switch_that_stands_wrong_is_called_right(
        self, given: tuple[Link, list[Any]], wanted: set[str]
    ) -> None:
        link, said = given
        every = ["1!1", "1!2", "1!3"]
        try:
            RelayMatrix(link).set_closed(wanted, among=every, settle_s=0.0)
        except (SwitchError, InstrumentError) as error:
            named(error)
        else:
            # Whatever else was said, the read-back itself told that every relay stands as it should.
            stand = ",".join(str(int(channel in wanted)) for channel in every).encode()
            assert any(
                re.sub(rb"[+ \r]", b"", line) == stand for each in said if each for line in each.split(b"\n")
            )
        still_right(link)


class _NoResource:
    def close(self) -> None:
        pass


def hurt_bytes(draw: st.DrawFn, wire: bytes) -> bytes:
    for _ in range(draw(st.integers(0, 2))):
        at = draw(st.integers(0, len(wire)))
        wire = wire[:at] + draw(st.binary(max_size=3)) + wire[at + draw(st.integers(0, 3)) :]
    return wire


class _Prompt(HislipTransport):
    """Sends its bytes and closes as soon as it is asked anything."""

    def __init__(self, peer: socket.socket, wire: bytes, *sockets: socket.socket) -> None:
        super().__init__(_NoResource(), *sockets, 1 << 20)  # type: ignore[arg-type]
        self.peer = peer
        self.wire = wire

    def send(self, message: bytes, timeout_s: float) -> None:
        super().send(message, timeout_s)
        self.peer.sendall(self.wire)
        self.peer.shutdown(socket.SHUT_WR)


HISLIP = struct.Struct("!2sBBIQ")
FIRST_ID, ANY_ID = 0xFFFF_FF00, 0xFFFF_FFFF


@st.composite
def frames(draw: st.DrawFn) -> bytes:
    """Messages of IVI-6.1, most of them answers to the first question, some hurt."""
    wire = b""
    for _ in range(draw(st.integers(0, 4))):
        kind = draw(st.sampled_from([6, 7, 7, 7, 13, 3, 2, 20, 99]))
        number = draw(st.sampled_from([FIRST_ID, FIRST_ID, ANY_ID, FIRST_ID - 2, 0]))
        payload = draw(st.sampled_from([b"", b"1", b"good\n", b"x" * 5000]))
        wire += HISLIP.pack(b"HS", kind, draw(st.integers(0, 1)), number, len(payload)) + payload
    return hurt_bytes(draw, wire)


def answer_of(wire: bytes) -> bytes | None:
    """What a client must take for the answer to its first question."""
    answer = b""
    within = False
    while len(wire) >= HISLIP.size:
        prologue, kind, _, number, size = HISLIP.unpack(wire[: HISLIP.size])
        payload, wire = wire[HISLIP.size :][:size], wire[HISLIP.size :][size:]
        if prologue != b"HS" or kind in (2, 3) or len(payload) < size:
            return None
        if kind in (6, 7) and number in (FIRST_ID, ANY_ID):
            answer, within = answer + payload, kind == 6
            if not within:
                return answer
    return None


class TestFrames:
    """Below the messages: the frames of HiSLIP and the replies of VXI-11, on real sockets."""

    def outcome(self, link: Link, wanted: bytes | None) -> None:
        try:
            answer = link.query("A?")
        except InstrumentError as error:
            named(error)
            assert wanted is None
        else:
            assert wanted is not None
            text = wanted.decode("utf-8", "backslashreplace").removesuffix("\n")
            if text.isprintable():
                assert answer == text.strip()
        for _ in range(2):
            # The peer has closed: whatever was left over, it is no answer.
            with pytest.raises(InstrumentError):
                link.query("B?")

    @given(frames())
    @FUZZ
    def test_hislip(self, wire: bytes) -> None:
        ours, theirs = socket.socketpair()
        second, other = socket.socketpair()
        with ours, theirs, second, other:
            other.shutdown(socket.SHUT_WR)
            transport = _Prompt(theirs, wire, ours, second)
            self.outcome(Link("ADDR", transport, 20.0), answer_of(wire))

    @given(
        st.sampled_from([b"good\n", b"1", b"", b"x" * 5000]),
        st.data(),
        st.tuples(
            st.sampled_from([0, 0, 0, 15, 17, 11, 99]), st.sampled_from([4, 4, 0, 2, 7]), st.booleans()
        ),
    )
    @FUZZ
    def test_vxi11(self, payload: bytes, data: st.DataObject, told: tuple[int, int, bool]) -> None:
        error, reason, whole = told
        padded = payload + bytes(-len(payload) % 4)
        reply = struct.pack("!9I", 3, 1, 0, 0, 0, 0, error, reason, len(payload)) + padded
        record = struct.pack("!I", 0x8000_0000 | len(reply)) + reply
        wire = record if whole else data.draw(st.composite(hurt_bytes)(record))
        good = wire == record and not error and reason & 4
        ours, theirs = socket.socketpair()
        with theirs:
            # Before: status byte, and the writing of the question.
            for number, body in ((1, (0, 0)), (2, (0, 3))):
                theirs.sendall(struct.pack("!9I", 0x8000_0020, number, 1, 0, 0, 0, 0, *body))
            theirs.sendall(wire)
            theirs.shutdown(socket.SHUT_WR)
            link = Link("ADDR", Vxi11Transport(_NoResource(), _client(ours), 1, 1 << 16), 20.0)  # type: ignore[arg-type]
            try:
                answer = link.query("A?")
            except InstrumentError as raised:
                named(raised)
                assert not good
            else:
                # A hurt reply may still be a reply; but never of more than what was sent.
                assert not good or answer == payload.decode().strip()
                assert len(answer) <= 4 * len(wire)
            for _ in range(2):
                with pytest.raises(InstrumentError):
                    link.query("B?")
            link._transport._sock.close()  # type: ignore[attr-defined]


def _client(sock: socket.socket) -> Any:
    """A remote-procedure client as the backend makes it, on a socket that is connected already."""
    client = vxi11.CoreClient.__new__(vxi11.CoreClient)
    client.packer, client.unpacker = vxi11.Vxi11Packer(), vxi11.Vxi11Unpacker(b"")
    rpc.Client.__init__(client, "", vxi11.DEVICE_CORE_PROG, vxi11.DEVICE_CORE_VERS, 0)
    client.sock, client.timeout = sock, 4.0
    return client


def test_the_inputs_are_shared_out_among_the_properties() -> None:
    mine = [
        name for kind in (TestText, TestErrorQueue, TestBlocks, TestRelays, TestFrames) for name in vars(kind)
    ]
    assert sum(name.startswith("test_") for name in mine) == PROPERTIES
