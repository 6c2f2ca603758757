"""The link over real TCP against instruments that misbehave in every way that has been seen."""

from __future__ import annotations

import re
import socket
import threading
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import pyvisa
from hypothesis import given, settings
from hypothesis import strategies as st
from pyvisa.constants import StatusCode

import benchsweep.instrument.links._open as opening
from benchsweep.errors import BadAnswer, InstrumentError, InstrumentTimeout, LinkLost, ScpiError, UsageError
from benchsweep.instrument import Link, open_link, visa_libraries
from benchsweep.instrument.links._messages import with_messages
from benchsweep.instrument.links._translate import translate
from benchsweep.instrument.links._transport import SocketTransport, Stalled

# Where an answer comes the time-out is that of the default, 10 s. Where none comes it is short.
NEVER_S = 0.3
# Every byte value, newlines above all: 0x0A bytes inside a block must not end it.
VALUES = np.concatenate([np.frombuffer(bytes(range(256)) * 8, "<f8"), np.frombuffer(b"\n" * 800, "<f8")])


def block(payload: bytes, end: bytes = b"\n") -> bytes:
    length = str(len(payload))
    return f"#{len(length)}{length}".encode() + payload + end


def token(line: str) -> bytes | None:
    """Answer the question with which a link brings answers back into step."""
    return f"{line.split('*ESE ')[1].split(';')[0]}\n".encode() if line.endswith(";*ESE?") else None


@pytest.fixture(params=["socket", "visa"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both ways to the bytes: on the session's socket, and through pyvisa's public interface only."""
    if request.param == "visa":
        monkeypatch.setattr(opening, "session_socket", lambda resource: None)
    return str(request.param)


def speak(answers: dict[str, Any]) -> Callable[[str], Any]:
    known = {"*IDN?": b"a,b,c,d\n", **answers}
    return lambda line: known[line] if line in known else token(line)


class TestAnswers:
    def test_text_is_stripped_and_may_end_in_carriage_return(self, scripted: Any, way: str) -> None:
        bench = scripted(speak({"A?": b"  one \r\n", "B?": b"two\n"}))
        with open_link(bench.address) as link:
            assert (link.query("A?"), link.query("B?")) == ("one", "two")

    @pytest.mark.parametrize("little", [True, False])
    @pytest.mark.parametrize("end", [b"\n", b"\r\n"])
    def test_block_survives_any_byte_in_both_orders(
        self, scripted: Any, way: str, little: bool, end: bytes
    ) -> None:
        payload = VALUES.astype("<f8" if little else ">f8").tobytes()
        bench = scripted(speak({"D?": block(payload, end), "A?": b"after\n"}))
        with open_link(bench.address) as link:
            got = link.query_doubles("D?", little_endian=little)
            assert got.dtype == np.dtype(np.float64)
            assert got.tobytes() == VALUES.tobytes()
            assert link.query("A?") == "after"

    def test_a_block_that_comes_in_pieces(self, scripted: Any, way: str) -> None:
        whole = block(VALUES.tobytes())
        pieces: list[bytes | float] = []
        for start in range(0, len(whole), 500):
            pieces += [whole[start : start + 500], 0.01]
        with open_link(scripted(speak({"D?": pieces})).address) as link:
            assert link.query_doubles("D?").tobytes() == VALUES.tobytes()

    def test_commands_go_out_one_a_line(self, scripted: Any) -> None:
        bench = scripted(speak({"A?": b"1\n"}))
        with open_link(bench.address) as link:
            link.write("X 1", "Y 2")
            link.query("A?")
        assert bench.lines == ["X 1", "Y 2", "A?"]

    @pytest.mark.parametrize("command", ["", "A?\nB?", "A?\r"])
    def test_a_command_is_one_line(self, scripted: Any, command: str) -> None:
        with open_link(scripted(speak({})).address) as link, pytest.raises(UsageError):
            link.query(command)

    def test_socket_options(self, scripted: Any) -> None:
        with open_link(scripted(speak({})).address) as link:
            sock = link._transport._sock  # type: ignore[attr-defined]
            assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
            assert sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)


class TestBadBlocks:
    @pytest.fixture(autouse=True)
    def _short(self, short_blocks: Any) -> None:
        self.short_blocks = short_blocks

    def refuse(
        self, scripted: Any, answer: Any, kind: type[InstrumentError], stops_s: float = NEVER_S
    ) -> InstrumentError:
        bench = scripted(speak({"D?": answer, "A?": b"after\n"}))
        with open_link(bench.address) as link:
            with self.short_blocks(link, stops_s), pytest.raises(kind) as caught:
                link.query_doubles("D?")
            assert "\n" not in caught.value.message
            if kind is not LinkLost:
                # Whatever was left over on the line, the next question gets its own answer.
                assert link.query("A?") == "after"
        return caught.value

    def test_text_instead_of_a_block_is_shown_in_hex(self, scripted: Any, way: str) -> None:
        error = self.refuse(scripted, b"+1.0E0,+2.0E0\n", BadAnswer)
        assert "2b 31 2e 30" in error.message

    def test_indefinite_length_is_refused_in_words(self, scripted: Any, way: str) -> None:
        error = self.refuse(scripted, b"#0abcdefgh\n", BadAnswer)
        assert "indefinite" in error.message

    def test_length_that_is_no_number(self, scripted: Any, way: str) -> None:
        self.refuse(scripted, b"#3x12abc\n", BadAnswer)

    def test_short_block_says_how_many_bytes(self, scripted: Any) -> None:
        whole = block(VALUES.tobytes())
        error = self.refuse(scripted, whole[:1006], BadAnswer)
        assert str(VALUES.nbytes) in error.message
        assert "1000 received" in error.message

    def test_short_block_through_pyvisa_alone(self, scripted: Any, way: str) -> None:
        self.refuse(scripted, block(VALUES.tobytes())[:1006], BadAnswer)

    def test_block_longer_than_announced(self, scripted: Any, way: str) -> None:
        error = self.refuse(scripted, block(VALUES.tobytes(), end=b"12345678\n"), BadAnswer)
        assert "31" in error.message

    def test_no_whole_number_of_doubles(self, scripted: Any, way: str) -> None:
        error = self.refuse(scripted, block(b"1234567890"), BadAnswer)
        assert "10 bytes" in error.message

    def test_peer_closes_in_the_middle(self, scripted: Any, stopwatch: Any) -> None:
        bench = scripted(speak({"D?": [block(VALUES.tobytes())[:1000], "close"]}))
        with open_link(bench.address, timeout_s=10.0) as link:
            with pytest.raises(LinkLost, match="closed the connection"):
                link.query_doubles("D?")
            assert stopwatch() < 6.0  # at once, not after the time-out
            with pytest.raises(LinkLost, match="lost before"):
                link.query("A?")

    def test_peer_closes_in_the_middle_through_pyvisa_alone(self, scripted: Any, way: str) -> None:
        # This backend waits for the time-out; whether the peer has gone is asked for after that.
        self.refuse(scripted, [block(VALUES.tobytes())[:1000], "close"], LinkLost, stops_s=2.0)

    def test_wrong_count(self, scripted: Any) -> None:
        with open_link(scripted(speak({"D?": block(bytes(80))})).address) as link:
            with pytest.raises(BadAnswer, match="80 bytes"):
                link.query_doubles("D?", count=11)
            assert link.query_doubles("D?", count=10).size == 10

    @given(answer=st.binary(max_size=60) | st.binary(max_size=30).map(lambda tail: b"#216" + tail))
    @settings(max_examples=150, deadline=None)
    def test_any_bytes_at_all_give_values_or_a_named_error(self, answer: bytes) -> None:
        ours, theirs = socket.socketpair()
        with ours, theirs:
            theirs.sendall(answer)
            theirs.shutdown(socket.SHUT_WR)
            link = Link("test", SocketTransport(_NoResource(), ours), 1.0)  # type: ignore[arg-type]
            try:
                values = link.query_doubles("D?")
            except InstrumentError as error:
                message = str(error)
            else:
                message = ""
                digits = int(answer[1:2])
                assert values.tobytes() == answer[2 + digits :][: values.nbytes]
            assert "\n" not in message


class _NoResource:
    def close(self) -> None:
        pass


class TestStep:
    def test_late_answer_is_not_taken_for_the_next_one(self, scripted: Any, way: str) -> None:
        late = threading.Event()
        bench = scripted(speak({"SLOW?": [late, b"late\n"], "A?": b"mine\n"}))
        with open_link(bench.address) as link:
            with pytest.raises(InstrumentTimeout, match=r"SLOW\?"):
                link.query("SLOW?", timeout_s=NEVER_S)
            threading.Timer(0.2, late.set).start()  # while the link is being brought back into step
            assert link.query("A?") == "mine"

    def test_use_is_refused_while_answers_stay_out_of_step(self, scripted: Any) -> None:
        answers: dict[str, Any] = {"A?": b"1\n"}
        bench = scripted(lambda line: answers.get(line))  # knows no *ESE?
        with open_link(bench.address) as link:
            link.timeout_s = NEVER_S
            with pytest.raises(InstrumentTimeout):
                link.query("SILENT?")
            with pytest.raises(InstrumentTimeout, match="into step"):
                link.query("A?")
        assert "A?" not in bench.lines

    def test_interrupt_from_the_keyboard_leaves_no_answer_behind(
        self, scripted: Any, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        bench = scripted(speak({"A?": b"first\n", "B?": b"second\n"}))
        with open_link(bench.address) as link:
            with monkeypatch.context() as patch:
                patch.setattr(link._transport, "read_line", _interrupt)
                with pytest.raises(KeyboardInterrupt):
                    link.query("A?")
            assert link.query("B?") == "second"

    def test_tokens_differ_each_time(self, scripted: Any) -> None:
        bench = scripted(speak({"A?": b"1\n"}))
        with open_link(bench.address) as link:
            for _ in range(3):
                link.resynchronise()
        assert len({line for line in bench.lines if ";*ESE?" in line}) == 6

    def test_a_late_answer_that_looks_like_the_token(self, scripted: Any) -> None:
        """A number of points, say: the same digits, one line too early."""

        def answer(line: str) -> bytes | None:
            if line.endswith(";*ESE?"):
                first = not any(";*ESE?" in earlier for earlier in bench.lines[:-1])
                return (token(line) or b"") * (2 if first else 1)
            return {"A?": b"mine\n"}.get(line)

        bench = scripted(answer)
        with open_link(bench.address) as link:
            with pytest.raises(InstrumentTimeout):
                link.query("SLOW?", timeout_s=NEVER_S)
            assert link.query("A?") == "mine"

    def test_one_that_never_stops_talking(self, scripted: Any, stopwatch: Callable[[], float]) -> None:
        chatter: list[Any] = [b"blah\n" * 200_000] * 20
        bench = scripted(lambda line: chatter if line == "A?" else None)
        with open_link(bench.address) as link:
            assert link.query("A?") == "blah"
            link.timeout_s = NEVER_S
            asked_at = stopwatch()
            with pytest.raises(InstrumentTimeout):
                link.query("B?")
            assert stopwatch() - asked_at < 4.0


def _interrupt(timeout_s: float) -> bytes:
    raise KeyboardInterrupt


class TestErrorQueue:
    def test_every_entry_reaches_the_person_with_the_instruments_own_text(self, scripted: Any) -> None:
        queue = iter(
            [b'-222,"Data out of range; ""too fast"""\n', b"-113,'Undefined header'\n", b'+0,"No error"\n']
        )
        bench = scripted(lambda line: next(queue) if line == "SYST:ERR?" else None)
        with open_link(bench.address) as link, pytest.raises(ScpiError) as caught:
            link.write_checked("FREQ 1E99", "FOO", doing="setting the speed")
        error = caught.value
        assert error.entries == ((-222, 'Data out of range; "too fast"'), (-113, "Undefined header"))
        assert error.commands == ("FREQ 1E99", "FOO")
        assert 'setting the speed: the instrument reports -222,"Data out of range; "too fast""' in str(error)
        assert "FREQ 1E99; FOO" in error.hint

    def test_a_queue_that_never_empties_is_left_after_a_hundred(self, scripted: Any) -> None:
        bench = scripted(lambda line: b'-350,"Queue overflow"\n')
        with open_link(bench.address) as link:
            assert len(link.errors()) == 100

    def test_an_answer_that_is_no_entry(self, scripted: Any) -> None:
        with (
            open_link(scripted(lambda line: b"hello\n").address) as link,
            pytest.raises(BadAnswer, match="hello"),
        ):
            link.errors()


class TestRing:
    def test_last_two_hundred_with_blocks_as_fingerprints(self, scripted: Any) -> None:
        payload = np.arange(4, dtype="<f8").tobytes()
        fold = int(np.bitwise_xor.reduce(np.frombuffer(payload, np.uint64)))
        bench = scripted(speak({"A?": b"1\n", "D?": block(payload)}))
        with open_link(bench.address) as link:
            for _ in range(150):
                link.query("A?")
            link.query_doubles("D?")
            recent = link.recent()
        assert len(recent) == 200
        assert recent[-1].text == f"block of 32 bytes, xor64 {fold:016x}"
        assert [item.direction for item in recent[-2:]] == ["sent", "received"]
        assert recent[-1].at >= recent[0].at

    def test_errors_carry_what_came_before(self, scripted: Any) -> None:
        with open_link(scripted(speak({"A?": b"42\n"})).address) as link:
            link.query("A?")
            with pytest.raises(InstrumentTimeout) as caught:
                link.query("SILENT?", timeout_s=NEVER_S)
        assert "<- 42" in caught.value.hint
        assert "-> SILENT?" in caught.value.hint


class TestMessagesOfErrors:
    LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00 (->|<-|--) .+")

    def test_lines_have_time_direction_and_text(self, scripted: Any) -> None:
        payload = np.arange(4, dtype="<f8").tobytes()
        bench = scripted(speak({"D?": block(payload), "A?": b"42\n"}))
        with open_link(bench.address) as link:
            link.query_doubles("D?")
            link.query("A?")
            with pytest.raises(InstrumentTimeout) as caught:
                link.query("SILENT?", timeout_s=NEVER_S)
        lines = caught.value.messages
        assert all(self.LINE.fullmatch(line) for line in lines)
        texts = [line.split(" ", 1)[1] for line in lines]
        fold = int(np.bitwise_xor.reduce(np.frombuffer(payload, np.uint64)))
        wanted = ["-> D?", f"<- block of 32 bytes, xor64 {fold:016x}", "-> A?", "<- 42", "-> SILENT?"]
        assert texts[:5] == wanted

    def test_every_way_to_fail_carries_them(self, scripted: Any) -> None:
        bench = scripted(lambda line: b"nonsense\n" if line in ("SYST:ERR?", "D?") else None)
        with open_link(bench.address) as link:
            link.timeout_s = NEVER_S / 3.0
            calls: list[Callable[[], object]] = [
                link.errors,
                lambda: link.query("A?"),
                lambda: link.query_doubles("D?"),
                lambda: link.write_checked("X 1", doing="trying"),
                lambda: link.check("trying"),
                lambda: link.probe("A?"),
                link.resynchronise,
                lambda: link.write("X 1"),
            ]
            for call in calls:
                with pytest.raises(InstrumentError) as caught:
                    call()
                assert caught.value.messages, call
            link.close()
            for call in calls:
                with pytest.raises(LinkLost) as lost:
                    call()
                assert lost.value.messages, call

    def test_the_messages_nearest_to_the_error_are_kept(self, scripted: Any) -> None:
        with open_link(scripted(speak({})).address) as link:
            link.write("X 1")
            error = InstrumentError("x")
            error.messages = ("nearer",)
            with pytest.raises(InstrumentError), with_messages(link):
                raise error
            assert error.messages == ("nearer",)
            with pytest.raises(InstrumentError) as caught, with_messages(link):
                raise InstrumentError("x")
            assert caught.value.messages == link.messages()


class TestOpening:
    def test_refused_port(self, stopwatch: Any, way: str) -> None:
        with socket.create_server(("127.0.0.1", 0)) as listener:
            port = listener.getsockname()[1]
        with pytest.raises(LinkLost) as caught:
            open_link(f"TCPIP::127.0.0.1::{port}::SOCKET", timeout_s=10.0)
        assert str(port) in caught.value.message
        assert stopwatch() < 4.0  # connecting may take 5 s

    def test_unknown_host(self) -> None:
        with pytest.raises(LinkLost, match="no host"):
            open_link("TCPIP::no-such-host.invalid::5025::SOCKET")

    @pytest.mark.parametrize("address", ["", "analyzer", "127.0.0.1:5025", "TCPIP::127.0.0.1::99999::SOCKET"])
    def test_wrong_address(self, address: str) -> None:
        with pytest.raises(UsageError) as caught:
            open_link(address)
        assert "TCPIP::" in caught.value.hint

    @pytest.mark.parametrize("timeout_s", [0.0, -1.0, float("inf"), float("nan")])
    def test_no_infinite_time_outs(self, timeout_s: float) -> None:
        with pytest.raises(UsageError, match="time-out"):
            open_link("TCPIP::127.0.0.1::5025::SOCKET", timeout_s=timeout_s)

    def test_backend_that_is_not_there(self) -> None:
        with pytest.raises(UsageError, match="@nowhere"):
            open_link("TCPIP::127.0.0.1::5025::SOCKET", backend="@nowhere")

    def test_closed_link_is_refused(self, scripted: Any) -> None:
        link = open_link(scripted(speak({"A?": b"1\n"})).address)
        link.close()
        link.close()
        with pytest.raises(LinkLost, match="closed"):
            link.query("A?")

    def test_listing_the_libraries_leaves_open_links_alone(self, scripted: Any) -> None:
        with open_link(scripted(speak({"A?": b"1\n"})).address) as link:
            assert "@py" in visa_libraries()
            assert link.query("A?") == "1"


class TestTranslation:
    @pytest.mark.parametrize("code", [code for code in StatusCode if code < 0])
    def test_every_status_code(self, code: StatusCode) -> None:
        error = translate(pyvisa.errors.VisaIOError(code), address="ADDR", doing="asking X?")
        assert error.message.startswith("ADDR: asking X?: ")
        expected = {
            StatusCode.error_timeout: InstrumentTimeout,
            StatusCode.error_connection_lost: LinkLost,
            StatusCode.error_io: LinkLost,
        }.get(code, InstrumentError)
        assert isinstance(error, expected)

    @pytest.mark.parametrize(
        "raised",
        [
            pyvisa.errors.InvalidSession(),
            pyvisa.errors.VisaTypeError("x"),
            pyvisa.errors.UnknownHandler("event", "handler", 1),  # type: ignore[arg-type]
            pyvisa.errors.OSNotSupported("x"),
            pyvisa.errors.InvalidBinaryFormat("x"),
            pyvisa.errors.LibraryError("x"),
            BrokenPipeError(32, "Broken pipe"),
            ConnectionResetError(104, "reset"),
            TimeoutError(),
            RuntimeError("Connection was dropped by server."),
            EOFError(),
            NotImplementedError(),
        ],
    )
    def test_every_class(self, raised: Exception) -> None:
        error = translate(raised, address="ADDR", doing="sending")
        lost = (pyvisa.errors.InvalidSession, BrokenPipeError, ConnectionResetError, EOFError, RuntimeError)
        if isinstance(raised, lost) and not isinstance(raised, NotImplementedError):
            assert isinstance(error, LinkLost)
        elif isinstance(raised, TimeoutError):
            assert isinstance(error, InstrumentTimeout)
        assert error.message.startswith("ADDR: sending: ")

    def test_no_class_of_pyvisa_is_forgotten(self) -> None:
        """The list above names every exception class that pyvisa defines."""
        words = "Error VisaIOError InvalidSession VisaTypeError UnknownHandler OSNotSupported"
        known = {*words.split(), "InvalidBinaryFormat", "LibraryError"}
        defined = {
            name
            for name, value in vars(pyvisa.errors).items()
            if isinstance(value, type) and issubclass(value, Exception) and not issubclass(value, Warning)
        }
        assert defined == known

    def test_a_lost_connection_found_while_sending(self) -> None:
        ours, theirs = socket.socketpair()
        with ours:
            theirs.close()
            link = Link("ADDR", SocketTransport(_NoResource(), ours), 1.0)  # type: ignore[arg-type]
            with pytest.raises(LinkLost, match="sending X 1"):
                link.write("X 1")


class MessageTransport:
    """A transport with message boundaries: unknown questions bring no answer, and a clear drops late ones."""

    stream = False

    def __init__(self, answers: dict[str, str]) -> None:
        self.answers = answers
        self.pending: list[str] = []
        self.errors: list[str] = []
        self.clears = 0
        self.enable = 0

    def send(self, message: bytes, timeout_s: float) -> None:
        for command in message.decode().strip().split(";"):
            if command.startswith("*ESE "):
                self.enable = int(command.split()[1])
            elif command == "*ESE?":
                self.pending.append(str(self.enable))
            elif command == "SYST:ERR?":
                self.pending.append(self.errors.pop(0) if self.errors else '0,"No error"')
            elif command in self.answers:
                self.pending.append(self.answers[command])
            else:
                self.errors.append('-113,"Undefined header"')

    def read_line(self, timeout_s: float) -> bytes:
        if not self.pending:
            raise Stalled(0, closed=False)
        return self.pending.pop(0).encode()

    def clear(self) -> None:
        self.clears += 1
        self.pending.clear()

    def status(self) -> int | None:
        return None

    def unasked(self) -> bool:
        return False

    def close(self) -> None:
        pass


class TestProbing:
    def test_stream_needs_no_time_out(self, scripted: Any, stopwatch: Any) -> None:
        def answer(line: str) -> bytes | None:
            return {"KNOWN?": b"7\n", "SYST:ERR?": next(queue) if line == "SYST:ERR?" else b""}.get(line)

        queue = iter([b'0,"No error"\n', b'-113,"Undefined header"\n'])
        with open_link(scripted(answer).address, timeout_s=10.0) as link:
            assert link.probe("KNOWN?") == ("7", '0,"No error"')
            assert link.probe("UNKNOWN?") == (None, '-113,"Undefined header"')
        assert stopwatch() < 6.0

    def test_messages_wait_and_clear(self) -> None:
        transport = MessageTransport({"KNOWN?": "7"})
        link = Link("ADDR", transport, 1.0)  # type: ignore[arg-type]
        assert link.probe("KNOWN?") == ("7", '0,"No error"')
        assert link.probe("UNKNOWN?") == (None, '-113,"Undefined header"')
        assert transport.clears == 1
        assert link.query("KNOWN?") == "7"
