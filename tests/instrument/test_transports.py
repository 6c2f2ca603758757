"""HiSLIP and VXI-11 through the pure Python backend, against instruments that misbehave on purpose."""

from __future__ import annotations

import gc
import socket
import struct
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import numpy as np
import pytest

import benchsweep.instrument.links._hislip as hislip
import benchsweep.instrument.links._link as asking
import benchsweep.instrument.links._open as opening
import benchsweep.instrument.links._vxi11 as vxi11
from benchsweep.errors import (
    BadAnswer,
    BenchsweepError,
    InstrumentError,
    InstrumentTimeout,
    LinkLost,
    UsageError,
)
from benchsweep.instrument import Link, address_candidates, open_link
from benchsweep.simulator import BenchOptions, running_bench

VALUES = np.concatenate([np.frombuffer(bytes(range(256)) * 8, "<f8"), np.frombuffer(b"\n" * 800, "<f8")])


def block(payload: bytes, end: bytes = b"\n") -> bytes:
    length = str(len(payload))
    return f"#{len(length)}{length}".encode() + payload + end


@pytest.fixture(params=["hislip", "vxi11"])
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def serve(start_server: Callable[..., Any], kind: str) -> Callable[..., Any]:
    return lambda known, **options: start_server(kind, known, **options)


# How long what never comes is waited for; whatever is answered has 10 s.
NEVER_S = 0.3
# For what begins and then stops: the beginning must have come by then.
STOPS_S = 2.0


def connect(server: Any) -> Link:
    return open_link(server.address, timeout_s=10.0)


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shorter limit than a person gets, so that the tests of what cannot be opened are quick."""
    monkeypatch.setattr(opening, "_LONGEST_OPEN_S", 1.0)


@pytest.fixture
def trusting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Believe a status byte that says nothing as long as it may take a busy machine to say something."""
    monkeypatch.setattr(asking, "_GLIMPSE_S", 10.0)


class TestAnswers:
    def test_text_with_and_without_end_of_line(self, serve: Any) -> None:
        server = serve({"A?": b"  one \r\n", "B?": b"two\n", "C?": b"three"})
        with connect(server) as link:
            assert [link.query(q) for q in ("A?", "B?", "C?")] == ["one", "two", "three"]
            assert not link.stream

    @pytest.mark.parametrize("size", [1, 4095, 4096, 4097, 8192, 65535, 65536, 65537, 1 << 19])
    def test_text_of_a_length_that_fills_a_read_exactly(self, serve: Any, size: int) -> None:
        text = b"x" * (size - 1) + b"\n"
        with connect(serve({"A?": text, "B?": b"after\n"})) as link:
            assert link.query("A?") == text.decode().strip()
            assert link.query("B?") == "after"

    @pytest.mark.parametrize("end", [b"\n", b"\r\n", b""])
    def test_blocks_of_any_bytes(self, serve: Any, end: bytes) -> None:
        server = serve({"D?": block(VALUES.tobytes(), end), "A?": b"after\n"})
        with connect(server) as link:
            assert link.query_doubles("D?", count=VALUES.size).tobytes() == VALUES.tobytes()
            assert link.query("A?") == "after"

    @pytest.mark.parametrize("doubles", [0, 1, 511, 512, 8192, 131072, 300000])
    @pytest.mark.parametrize("chunk", [4096, 1 << 20])
    def test_blocks_of_sizes_around_what_one_read_returns(
        self, start_server: Any, doubles: int, chunk: int
    ) -> None:
        values = np.random.default_rng(doubles).standard_normal(doubles)
        server = start_server("vxi11", {"D?": block(values.tobytes())}, chunk=chunk)
        with connect(server) as link:
            assert link.query_doubles("D?", count=doubles).tobytes() == values.tobytes()

    def test_a_block_in_pieces_with_pauses(self, serve: Any) -> None:
        whole = block(VALUES.tobytes())
        pieces: list[Any] = []
        for at in range(0, len(whole), 700):
            pieces += [whole[at : at + 700], 0.02]
        with connect(serve({"D?": [*pieces, "end"]})) as link:
            assert link.query_doubles("D?").tobytes() == VALUES.tobytes()

    def test_a_command_longer_than_the_instrument_takes_at_once(self, start_server: Any) -> None:
        long = "X " + "1," * 600
        for kind, options in (("hislip", {"max_message": 300}), ("vxi11", {"max_write": 300})):
            server = start_server(kind, {"A?": b"1\n"}, **options)
            with connect(server) as link:
                link.write(long)
                assert link.query("A?") == "1"
            assert server.lines[:2] == [long, "A?"]

    def test_options_of_the_sockets(self, serve: Any) -> None:
        with connect(serve({})) as link:
            for sock in link._transport.sockets:  # type: ignore[attr-defined]
                assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
                assert sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)

    def test_no_write_waits_for_an_acknowledgement(self, serve: Any, quickly: Any) -> None:
        with connect(serve({"A?": b"1\n"})) as link:

            def ten_times() -> None:
                for _ in range(10):
                    link.write("X 1", "Y 2")
                    link.query("A?")

            # A delayed acknowledgement costs 40 ms each time.
            quickly(ten_times, 0.3)


class TestBadBlocks:
    def refuse(
        self, serve: Any, answer: Any, kind: type[InstrumentError], stops_s: float = 10.0
    ) -> InstrumentError:
        server = serve({"D?": answer, "A?": b"after\n"})
        with connect(server) as link:
            started = time.monotonic()
            with pytest.raises(kind) as caught:
                link.query_doubles("D?", timeout_s=stops_s)
            assert time.monotonic() - started < 6.0
            if kind is LinkLost:
                with pytest.raises(LinkLost):
                    link.query("A?")
            else:
                assert link.query("A?") == "after"
        assert caught.value.messages[-2:]
        assert any("D?" in line for line in caught.value.messages)
        return caught.value

    @pytest.mark.parametrize(
        "answer", [b"+1.0E0,+2.0E0\n", b"#", b"", b"#x\n", b"\n", b"#3x12abc\n", b"#9", b"#512"]
    )
    def test_no_block(self, serve: Any, answer: bytes) -> None:
        self.refuse(serve, answer, BadAnswer)

    def test_ends_before_its_announced_length(self, serve: Any) -> None:
        error = self.refuse(serve, block(VALUES.tobytes())[:1006], BadAnswer)
        assert "1000 received, then the end of the message" in error.message

    def test_stops_before_its_announced_length(self, serve: Any) -> None:
        error = self.refuse(serve, [block(VALUES.tobytes())[:1006]], BadAnswer, STOPS_S)
        assert "1000 received, then nothing for 2 s" in error.message

    def test_goes_on_after_its_announced_length(self, serve: Any) -> None:
        self.refuse(serve, block(VALUES.tobytes(), b"12345678\n"), BadAnswer)

    def test_garbage_behind_the_end_of_line(self, serve: Any) -> None:
        error = self.refuse(serve, block(VALUES.tobytes(), b"\n12345678\n"), BadAnswer)
        assert "0a 31 32" in error.message

    def test_dropped_in_the_middle(self, serve: Any) -> None:
        self.refuse(serve, [block(VALUES.tobytes())[:1000], "close"], LinkLost)

    def test_dropped_before_anything_came(self, serve: Any) -> None:
        self.refuse(serve, ["close"], LinkLost)

    def test_a_hislip_message_that_stops_in_the_middle(
        self, start_server: Any, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The rest of the message is known to be missing; the next question waits for it in vain."""
        server = start_server("hislip", {"D?": [block(VALUES.tobytes())[:900], "cut"], "A?": b"after\n"})
        with connect(server) as link:
            with pytest.raises(BadAnswer):
                link.query_doubles("D?", timeout_s=STOPS_S)
            monkeypatch.setattr(hislip, "_CLEAR_S", NEVER_S)
            link.timeout_s = NEVER_S
            with pytest.raises(InstrumentError):
                link.query("A?")

    def test_a_vxi11_reply_that_stops_in_the_middle(self, start_server: Any) -> None:
        server = start_server("vxi11", {"D?": ["cut"]})
        with connect(server) as link, pytest.raises(LinkLost, match="in the middle"):
            link.query_doubles("D?", timeout_s=STOPS_S / 2.0)  # and one or two seconds of grace

    @pytest.mark.parametrize("garbage", ["ff" * 64, "80000004" + "00" * 12])
    def test_bytes_that_are_not_of_the_protocol(self, serve: Any, garbage: str) -> None:
        server = serve({"D?": ["raw:" + garbage]})
        with connect(server) as link:
            link.timeout_s = NEVER_S
            started = time.monotonic()
            with pytest.raises(InstrumentError):
                link.query("D?")
            with pytest.raises(InstrumentError):
                link.query("D?")
            assert time.monotonic() - started < 9.0

    def test_a_trickle_ends(self, serve: Any) -> None:
        drops: list[Any] = []
        for _ in range(100):
            drops += [b"1", 0.1]
        with connect(serve({"A?": drops})) as link:
            started = time.monotonic()
            with pytest.raises(InstrumentTimeout):
                link.query("A?", timeout_s=0.5)
            assert time.monotonic() - started < 5.0


class TestStep:
    @pytest.mark.parametrize("unknown_ids", [False, True])
    def test_late_answer(self, serve: Any, unknown_ids: bool) -> None:
        late = threading.Event()
        server = serve({"SLOW?": [late, b"late\n", "end"], "A?": b"mine\n"}, unknown_ids=unknown_ids)
        with connect(server) as link:
            with pytest.raises(InstrumentTimeout, match=r"SLOW\?"):
                link.query("SLOW?", timeout_s=NEVER_S)
            threading.Timer(0.2, late.set).start()  # while the link is being brought back into step
            assert [link.query("A?") for _ in range(3)] == ["mine"] * 3
        assert server.clears

    @pytest.mark.parametrize("unknown_ids", [False, True])
    def test_answers_twice(self, serve: Any, unknown_ids: bool, until: Any) -> None:
        known = {"TWICE?": [b"1\n", "end", b"1\n", "end"], "A?": b"mine\n"}
        server = serve(known, unknown_ids=unknown_ids)
        with connect(server) as link:
            for _ in range(3):
                assert link.query("TWICE?") == "1"
                until(link._transport.unasked)  # the second one is there
                assert link.query("A?") == "mine"

    def test_two_lines_in_one_answer_are_not_taken_for_one(self, serve: Any) -> None:
        with connect(serve({"A?": b"1\n2\n", "B?": b"3\n"})) as link:
            assert link.query("A?") == "1\\x0a2"
            assert link.query("B?") == "3"

    def test_never_answers(self, serve: Any) -> None:
        with connect(serve({"A?": b"1\n"})) as link:
            started = time.monotonic()
            with pytest.raises(InstrumentTimeout):
                link.query("SILENT?", timeout_s=NEVER_S)
            assert time.monotonic() - started < 4.0
            assert link.query("A?") == "1"

    def test_interrupt_from_the_keyboard(self, serve: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        with connect(serve({"A?": b"first\n", "B?": b"second\n"})) as link:
            with monkeypatch.context() as patch:
                patch.setattr(link._transport, "read_line", _interrupt)
                with pytest.raises(KeyboardInterrupt):
                    link.query("A?")
            assert link.query("B?") == "second"

    def test_device_clear_while_an_answer_is_under_way(self, start_server: Any) -> None:
        big = block(bytes(8 << 20))
        server = start_server("hislip", {"D?": [big, 0.1, b"more\n", "end"], "A?": b"mine\n"})
        with connect(server) as link:
            link.write("D?")
            link.resynchronise()
            assert link.query("A?") == "mine"
        assert server.clears == 1

    def test_overlapped_mode_is_never_accepted(self, start_server: Any, capsys: Any) -> None:
        server = start_server("hislip", {"A?": b"1\n"}, prefers_overlap=True)
        with connect(server) as link:
            link.resynchronise()
            assert link.query("A?") == "1"
        assert server.features == [0]
        assert capsys.readouterr().out == ""

    def test_service_requests_on_the_second_channel_do_no_harm(self, start_server: Any) -> None:
        server = start_server("hislip", {"A?": b"1\n"}, service_requests=3)
        with connect(server) as link:
            assert link._transport.status() is not None
            link.resynchronise()
            assert link.query("A?") == "1"

    def test_messages_are_numbered_as_the_protocol_says(self, start_server: Any) -> None:
        server = start_server("hislip", {"A?": b"1\n"})
        with connect(server) as link:
            link.query("A?")
            link.write("X 1")
            link.query("A?")
            assert server.message_ids == [0xFFFF_FF00, 0xFFFF_FF02, 0xFFFF_FF04]
            for _ in range(130):
                link.query("A?")
        assert 0xFFFF_FFFE in server.message_ids
        assert 0 in server.message_ids

    def test_an_error_message_of_the_protocol_is_shown(self, start_server: Any) -> None:
        text = b"too many clients"
        raw = struct.pack("!2sBBIQ", b"HS", 2, 4, 0, len(text)) + text
        server = start_server("hislip", {"A?": ["raw:" + raw.hex()]})
        with connect(server) as link, pytest.raises(LinkLost, match="too many clients"):
            link.query("A?")

    def test_messages_of_other_kinds_between_the_pieces_of_an_answer(self, start_server: Any) -> None:
        strange = b"".join(
            struct.pack("!2sBBIQ", b"HS", kind, 0, number, 2) + b"99"
            for kind, number in ((13, 0), (6, 0xFFFF_FEFE), (7, 0xFFFF_FEFE), (200, 0))
        )
        whole = block(VALUES.tobytes())
        pieces = [whole[:500], f"raw:{strange.hex()}", whole[500:], "end"]
        server = start_server("hislip", {"D?": pieces, "A?": [b"", f"raw:{strange.hex()}", b"1\n", "end"]})
        with connect(server) as link:
            assert link.query_doubles("D?").tobytes() == VALUES.tobytes()
            assert link.query("A?") == "1"

    def test_vxi11_without_device_clear(self, start_server: Any) -> None:
        server = start_server("vxi11", {"A?": b"1\n"}, no_clear=True)
        with connect(server) as link:
            link.resynchronise()
            assert link.query("A?") == "1"

    def test_a_bit_that_always_says_that_a_message_waits(self, start_server: Any) -> None:
        server = start_server("vxi11", {"A?": b"1\n"}, status=0x10)
        with connect(server) as link:
            for _ in range(5):
                assert link.query("A?") == "1"
        assert server.clears == 1


def _interrupt(timeout_s: float) -> bytes:
    raise KeyboardInterrupt


def open_sockets() -> set[int]:
    every = (each for each in gc.get_objects() if isinstance(each, socket.socket))
    return {id(each) for each in every if each.fileno() >= 0}


class TestOpening:
    def refused(
        self,
        address: str,
        match: str = "::",
        kind: type[BenchsweepError] = LinkLost,
        within_s: float = 6.0,
        hint: str = "",
    ) -> None:
        started = time.monotonic()
        with pytest.raises(kind, match=match) as caught:
            open_link(address, timeout_s=10.0)
        assert hint in caught.value.hint
        assert time.monotonic() - started < within_s

    def test_refused(self, kind: str) -> None:
        with socket.create_server(("127.0.0.1", 0)) as listener:
            port = listener.getsockname()[1]
        addresses = {
            "hislip": f"TCPIP::127.0.0.1::hislip0,{port}::INSTR",
            "vxi11": f"TCPIP::127.0.0.1,{port}::inst0::INSTR",
        }
        self.refused(addresses[kind], "refused", within_s=4.0)  # connecting may take 5 s

    def test_goes_after_the_greeting_has_begun(self, start_server: Any) -> None:
        server = start_server("vxi11", {})
        server._call = lambda *arguments: None  # takes the first call, and closes
        self.refused(server.address, within_s=4.0)

    def test_no_port_mapper(self) -> None:
        self.refused("TCPIP::127.0.0.1::inst0::INSTR")

    @pytest.mark.parametrize("device", ["hislip0", "inst0"])
    def test_unresolvable(self, device: str) -> None:
        self.refused(f"TCPIP::no-such-host.invalid::{device}::INSTR", "no host")

    def test_a_name_server_that_does_not_answer(
        self, impatient: None, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        asked_enough = threading.Event()
        monkeypatch.setattr(opening.socket, "getaddrinfo", lambda *_: asked_enough.wait(60.0))
        self.refused("TCPIP::analyzer::hislip0::INSTR", "no host")
        asked_enough.set()

    def test_an_instrument_that_is_there_too_late_is_let_go(
        self, impatient: None, serve: Any, until: Any, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        server = serve({})
        refused = threading.Event()
        real = opening.pyvisa.ResourceManager.open_resource
        late: list[Any] = []

        def slow(*args: Any, **options: Any) -> Any:
            refused.wait(60.0)
            late.append(real(*args, **options))
            return late[0]

        monkeypatch.setattr(opening.pyvisa.ResourceManager, "open_resource", slow)
        self.refused(server.address, "nobody answers")
        assert not late
        refused.set()

        def closed_again() -> bool:
            try:
                return bool(late) and late[0].session is None
            except opening.pyvisa.errors.InvalidSession:
                return True

        until(closed_again)

    def test_accepts_and_says_nothing(self, serve: Any, impatient: None) -> None:
        self.refused(
            serve({}, silent="greeting").address, "nobody answers", hint="another program may hold it"
        )

    def test_half_open(self, start_server: Any, impatient: None) -> None:
        self.refused(start_server("hislip", {}, silent="second").address)

    def test_replies_to_no_call(self, start_server: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        with connect(start_server("vxi11", {}, silent="calls")) as link:
            monkeypatch.setattr(vxi11, "_CLEAR_S", NEVER_S)
            link.timeout_s = NEVER_S
            started = time.monotonic()
            with pytest.raises(LinkLost, match="does not reply"):
                link.query("A?")
            assert time.monotonic() - started < 5.0
            with pytest.raises(LinkLost):
                link.query("A?")

    def test_drops_at_once(self, kind: str) -> None:
        with socket.create_server(("127.0.0.1", 0)) as listener:
            port = listener.getsockname()[1]

            def slam() -> None:
                with suppress(OSError):
                    listener.accept()[0].close()

            worker = threading.Thread(target=slam, daemon=True)
            worker.start()
            before = open_sockets()
            device = {"hislip": f"127.0.0.1::hislip0,{port}", "vxi11": f"127.0.0.1,{port}::inst0"}[kind]
            self.refused(f"TCPIP::{device}::INSTR", within_s=4.0)
            worker.join(5.0)
            assert open_sockets() <= before

    @pytest.mark.parametrize(
        "address", ["TCPIP::127.0.0.1::hislip0,99999::INSTR", "TCPIP::127.0.0.1,0::inst0::INSTR",
                    "TCPIP::127.0.0.1::hislip0,x::INSTR"],
    )  # fmt: skip
    def test_no_port(self, address: str) -> None:
        self.refused(address, "no TCP port", UsageError)

    def test_closing_is_quick_when_the_peer_is_gone(self, serve: Any) -> None:
        server = serve({})
        link = connect(server)
        server.drop()
        started = time.monotonic()
        link.close()
        link.close()
        assert time.monotonic() - started < 4.0  # it may take 5 s
        with pytest.raises(LinkLost, match="closed"):
            link.query("A?")


# What an unknown question would cost if nothing but its silence told that it is unknown.
PATIENCE_S = 2.0


class TestProbing:
    """Questions that the instrument may not know: quick, and nothing left behind."""

    def script(
        self, known: dict[str, bytes], queue: list[str], *, slow_s: float = 0.0
    ) -> Callable[[str], Any]:
        enable = {"value": "0"}

        def answer(line: str) -> Any:
            for command in line.split(";"):
                if command.startswith("*ESE "):
                    enable["value"] = command[5:]
                elif command == "*ESE?":
                    return f"{enable['value']}\n".encode()
                elif command == "SYST:ERR?":
                    return (queue.pop(0) if queue else '0,"No error"').encode() + b"\n"
            if line in known:
                return [slow_s, known[line], "end"]
            queue.append('-113,"Undefined header"')
            return None

        return answer

    def check(self, server: Any, queue: list[str], *, unknown: int) -> float:
        with connect(server) as link:
            started = time.monotonic()
            for _ in range(unknown):
                assert link.probe("UNKNOWN?", patience_s=PATIENCE_S) == (None, '-113,"Undefined header"')
                assert link.probe("KNOWN?", patience_s=PATIENCE_S) == ("7", '0,"No error"')
            took = time.monotonic() - started
            assert link.errors() == ()
        assert not queue
        return took

    def test_twenty_unknown_questions_with_a_full_status_byte(self, serve: Any, trusting: None) -> None:
        queue: list[str] = []
        server = serve(self.script({"KNOWN?": b"7\n"}, queue))
        type(server).status = property(  # type: ignore[assignment]
            lambda self: 0x04 if queue else 0, lambda self, value: None
        )
        try:
            # Neither the patience nor the glimpse was used up, not once.
            assert self.check(server, queue, unknown=20) < 4 * PATIENCE_S
        finally:
            del type(server).status
        assert not server.clears

    def test_a_status_byte_without_the_queue_bit(self, serve: Any) -> None:
        queue: list[str] = []
        assert self.check(serve(self.script({"KNOWN?": b"7\n"}, queue)), queue, unknown=5) < 5 * PATIENCE_S

    def test_a_status_byte_whose_queue_bit_is_stuck(self, serve: Any) -> None:
        queue: list[str] = []
        server = serve(self.script({"KNOWN?": b"7\n"}, queue), status=0x04)
        assert self.check(server, queue, unknown=3) < 3 * PATIENCE_S

    def test_no_status_byte(self, serve: Any) -> None:
        queue: list[str] = []
        server = serve(self.script({"KNOWN?": b"7\n"}, queue), status=None)
        assert self.check(server, queue, unknown=1) < PATIENCE_S + 5.0

    def test_a_slow_answer_without_any_bit_is_still_found(self, serve: Any) -> None:
        queue: list[str] = []
        server = serve(self.script({"KNOWN?": b"7\n"}, queue, slow_s=0.25), mav=False)
        with connect(server) as link:
            assert link.probe("KNOWN?", patience_s=5.0)[0] == "7"
            assert link.probe("UNKNOWN?") == (None, '-113,"Undefined header"')
            assert link.probe("KNOWN?", patience_s=5.0)[0] == "7"
            assert link.errors() == ()

    def test_errors_of_somebody_else_are_not_taken_for_ours(self, serve: Any, trusting: None) -> None:
        queue = ['-222,"Data out of range"']
        server = serve(self.script({"KNOWN?": b"7\n"}, queue))
        with connect(server) as link:
            answer, _ = link.probe("KNOWN?")
            assert answer == "7"

    def test_numbers_with_commas_are_no_entry_of_the_queue(self, scripted: Any) -> None:
        queue: list[str] = []
        script = self.script({"LIST?": b"1,2,3\n"}, queue)
        bench = scripted(lambda line: script(line)[1] if line == "LIST?" else script(line))
        with open_link(bench.address) as link:
            assert link.probe("LIST?") == ("1,2,3", '0,"No error"')
            assert link.probe("UNKNOWN?") == (None, '-113,"Undefined header"')
            assert link.errors() == ()


class TestSocketStep:
    def test_an_answer_that_comes_twice(self, scripted: Any) -> None:
        def answer(line: str) -> Any:
            if line.endswith(";*ESE?"):
                return f"{line.split('*ESE ')[1].split(';')[0]}\n".encode()
            return {"A?": b"1\n1\n", "B?": b"2\n"}.get(line)

        with open_link(scripted(answer).address) as link:
            for _ in range(3):
                assert link.query("A?") == "1"
                assert link.query("B?") == "2"

    def test_an_unasked_line_between_two_questions(self, scripted: Any, until: Any) -> None:
        def answer(line: str) -> Any:
            if line.endswith(";*ESE?"):
                return f"{line.split('*ESE ')[1].split(';')[0]}\n".encode()
            return {"A?": [b"1\n", 0.05, b"99\n"], "B?": b"2\n"}.get(line)

        with open_link(scripted(answer).address) as link:
            assert link.query("A?") == "1"
            until(link._transport.unasked)
            assert link.query("B?") == "2"
            assert any("nobody asked for" in line for line in link.messages())


def right_or_lost(link: Link, question: str, wanted: str) -> None:
    """The backend's own device clear fails on an answer under way: refused is not wrong."""
    with suppress(LinkLost):
        assert link.query(question) == wanted


class TestPublicInterface:
    """What a native library would meet: pyvisa's public interface, no session of the pure Python backend."""

    @pytest.fixture(autouse=True)
    def _plain(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(opening, "hislip_transport", lambda resource: None)
        monkeypatch.setattr(opening, "vxi11_transport", lambda resource: None)

    def test_text_and_blocks(self, serve: Any) -> None:
        values = np.random.default_rng(1).standard_normal(200_000)
        server = serve(
            {
                "A?": b" one \n",
                "D?": block(values.tobytes()),
                "E?": block(VALUES.tobytes(), b""),
                "F?": b"x" * 65535 + b"\n",
            }
        )
        with connect(server) as link:
            assert type(link._transport).__name__ == "VisaTransport"
            assert link.query("A?") == "one"
            assert link.query_doubles("D?", count=values.size).tobytes() == values.tobytes()
            assert link.query_doubles("E?").tobytes() == VALUES.tobytes()
            assert link.query("F?") == "x" * 65535
            assert link.query("A?") == "one"

    @pytest.mark.parametrize("wrong", [b"12345678\n", b"\n12345678\n"])
    def test_longer_than_announced(self, serve: Any, wrong: bytes) -> None:
        with connect(serve({"D?": block(VALUES.tobytes(), wrong), "A?": b"1\n"})) as link:
            with pytest.raises(BadAnswer):
                link.query_doubles("D?")
            right_or_lost(link, "A?", "1")

    def test_shorter_than_announced(self, serve: Any) -> None:
        with connect(serve({"D?": block(VALUES.tobytes())[:999], "A?": b"1\n"})) as link:
            with pytest.raises(BadAnswer, match="end of the message"):
                link.query_doubles("D?")
            assert link.query("A?") == "1"

    def test_dropped(self, start_server: Any) -> None:
        # Over VXI-11 this backend takes a time-out and five seconds more to notice.
        with connect(start_server("hislip", {"A?": ["close"]})) as link:
            with pytest.raises(LinkLost):
                link.query("A?")
            with pytest.raises(LinkLost):
                link.query("A?")

    def test_late_answer(self, serve: Any) -> None:
        late = threading.Event()
        server = serve({"SLOW?": [late, b"late\n", "end"], "A?": b"mine\n"})
        with connect(server) as link:
            with pytest.raises(InstrumentTimeout):
                link.query("SLOW?", timeout_s=NEVER_S)
            late.set()
            time.sleep(0.2)  # the late answer is there, as a rule
            right_or_lost(link, "A?", "mine")

    def test_probe(self, serve: Any) -> None:
        with connect(serve({"SYST:ERR?": b'0,"No error"\n', "A?": b"1\n"})) as link:
            assert link.probe("A?", patience_s=10.0) == ("1", '0,"No error"')
            assert link.probe("B?") == (None, '0,"No error"')


class TestCandidates:
    def test_order_and_reasons(self) -> None:
        found = address_candidates("192.0.2.10")
        assert [item.address for item in found] == [
            "TCPIP::192.0.2.10::hislip0::INSTR",
            "TCPIP::192.0.2.10::5025::SOCKET",
            "TCPIP::192.0.2.10::inst0::INSTR",
        ]
        assert len({item.reason for item in found}) == 3
        assert all(item.reason.endswith(".") for item in found)

    @pytest.mark.parametrize("host", ["", "a b", "TCPIP::x", "x::y", "-x", "::1", "a,b", "a\n", "x" * 300])
    def test_no_host(self, host: str) -> None:
        with pytest.raises(UsageError, match="not a host"):
            address_candidates(host)


@pytest.mark.parametrize(
    ("door", "right", "wrong"), [("hislip", "hislip0", "hislip7"), ("vxi11", "inst0", "inst9")]
)
def test_a_wrong_name_is_told_from_a_wrong_place(door: str, right: str, wrong: str) -> None:
    with running_bench(BenchOptions(ports=2)) as bench:
        address = bench.addresses[door].replace(right, wrong)
        with pytest.raises(LinkLost, match=f"answers there, but not under the name {wrong}$") as caught:
            open_link(address)
    assert right in caught.value.hint
    with pytest.raises(LinkLost, match="nobody answers"):
        open_link(address)
