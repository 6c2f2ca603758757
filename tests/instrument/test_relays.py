"""The relay matrix against a scripted one that keeps its own contacts, good and bad ones."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.errors import (
    BadAnswer,
    InstrumentError,
    InstrumentTimeout,
    ScpiError,
    SwitchError,
    UsageError,
)
from benchsweep.instrument import RelayMatrix, open_relays
from benchsweep.instrument._relays import channel_list

ROWS, COLUMNS = 4, 8
EVERY = f"1!1:{ROWS}!{COLUMNS}"


class Matrix:
    """4 rows, 8 columns; knows single channels only, which is all that may be sent to it."""

    def __init__(self) -> None:
        self.closed: set[str] = set()
        self.stuck: dict[str, bool] = {}
        self.errors: list[str] = []
        self.longest = 0
        self.moves: list[str] = []
        self.instead: dict[str, bytes | None] = {}

    def __call__(self, line: str) -> bytes | None:
        self.longest = max(self.longest, len(line))
        for start, answer in self.instead.items():
            if line.startswith(start):
                return answer
        if line == "*IDN?":
            return b"Tollmoor Works,matrix,1,1.0\n"
        if line == "SYST:ERR?":
            return (self.errors.pop(0) if self.errors else '0,"No error"').encode() + b"\n"
        if line == "*OPC?":
            return b"1\n"
        if line.endswith(";*ESE?"):
            return line.split("*ESE ")[1].split(";")[0].encode() + b"\n"
        if line == "ROUT:OPEN:ALL":
            self.closed.clear()
        elif match := re.fullmatch(r"ROUT:(CLOS|OPEN)(\??) \(@([\d!,]+)\)", line):
            return self._route(match[1], bool(match[2]), match[3].split(","))
        return None

    def _route(self, verb: str, asked: bool, channels: list[str]) -> bytes | None:
        for channel in channels:
            row, _, column = channel.partition("!")
            if not (1 <= int(row) <= ROWS and 1 <= int(column or 0) <= COLUMNS):
                self.errors.append('-222,"Data out of range"')
                return None
        if asked:
            return ",".join(str(int(self.stands(c))) for c in channels).encode() + b"\n"
        for channel in channels:
            self.moves.append(f"{verb} {channel}")
            (self.closed.add if verb == "CLOS" else self.closed.discard)(channel)
        return None

    def stands(self, channel: str) -> bool:
        return self.stuck.get(channel, channel in self.closed)


@pytest.fixture
def bench() -> Matrix:
    return Matrix()


@pytest.fixture
def matrix(bench: Matrix, scripted: Callable[[Any], Any]) -> Any:
    with open_relays(scripted(bench).address) as opened:
        yield opened


class TestMoving:
    def test_only_the_wanted_are_closed_afterwards_and_old_ones_open_first(
        self, matrix: RelayMatrix, bench: Matrix
    ) -> None:
        matrix.close("1!1,2!2")
        matrix.set_closed(["1!3", "2!4"], among=EVERY, settle_s=0.0)
        assert bench.closed == {"1!3", "2!4"}
        moves = bench.moves[2:]
        assert moves.index("OPEN 1!1") < moves.index("CLOS 1!3")
        assert "OPEN 1!3" not in moves
        assert len(moves) == ROWS * COLUMNS

    def test_nothing_wanted_opens_all_of_interest_and_no_other(
        self, matrix: RelayMatrix, bench: Matrix
    ) -> None:
        matrix.close("1!1,4!8")
        matrix.set_closed([], among="1!1:1!4", settle_s=0.0)
        assert bench.closed == {"4!8"}

    def test_read_back(self, matrix: RelayMatrix) -> None:
        matrix.close(["2!1"])
        assert matrix.closed("1!1,2!1:2!2") == {"1!1": False, "2!1": True, "2!2": False}
        matrix.open("2!1")
        assert not any(matrix.closed(EVERY).values())

    def test_open_all(self, matrix: RelayMatrix, bench: Matrix) -> None:
        matrix.close(EVERY)
        assert len(bench.closed) == ROWS * COLUMNS
        matrix.open_all()
        assert not bench.closed

    def test_messages_stay_short(self, matrix: RelayMatrix, bench: Matrix) -> None:
        matrix.set_closed(EVERY, among=EVERY, settle_s=0.0)
        assert bench.longest <= 220  # 32 channels are 127 characters; see also the packed ones below

    def test_settles(self, matrix: RelayMatrix, stopwatch: Callable[[], float]) -> None:
        before = stopwatch()
        matrix.set_closed("1!1", among="1!1", settle_s=0.2)
        assert stopwatch() - before >= 0.2

    def test_errors_left_by_somebody_else_are_not_ours(self, scripted: Any) -> None:
        bench = Matrix()
        bench.errors = ['-113,"Undefined header"']
        answer = scripted(lambda line: bench.errors.clear() if line == "*CLS" else bench(line))
        with open_relays(answer.address) as matrix:
            matrix.close("1!1")
            assert matrix.idn.startswith("Tollmoor Works")


class TestNotAsTold:
    def test_each_relay_that_does_not_stand_as_told_is_named(
        self, matrix: RelayMatrix, bench: Matrix
    ) -> None:
        bench.stuck = {"1!3": False, "2!2": True, "4!4": True}
        with pytest.raises(SwitchError) as caught:
            matrix.set_closed("1!3,2!4", among=EVERY, settle_s=0.0)
        message = caught.value.message
        assert "relay 1!3 told to close, read back open" in message
        assert "relay 2!2, 4!4 told to open, read back closed" in message
        assert "2!4" not in message
        assert any("ROUT:CLOS (@1!3,2!4)" in line for line in caught.value.messages)

    def test_a_stuck_relay_that_stands_as_wanted_does_no_harm(
        self, matrix: RelayMatrix, bench: Matrix
    ) -> None:
        bench.stuck = {"1!3": True}
        matrix.set_closed("1!3", among=EVERY, settle_s=0.0)

    def test_a_channel_that_it_has_not(self, matrix: RelayMatrix) -> None:
        with pytest.raises(ScpiError, match="Data out of range") as caught:
            matrix.close("1!1,9!9")
        assert caught.value.commands == ("ROUT:CLOS (@1!1,9!9)",)
        with pytest.raises(ScpiError) as caught:
            matrix.close("1!1:1!21,9!9")
        assert "ROUT:CLOS (@1!1,1!2,1!3,1!4,1!5,1!6,1!7,1!8 and 14 more)" in caught.value.hint
        assert "1!9" not in caught.value.hint
        matrix.link.timeout_s = 2.0  # a question that is refused is not answered
        with pytest.raises(ScpiError, match="asking which relays"):
            matrix.closed("9!9")
        matrix.link.timeout_s = 10.0
        matrix.close("1!1")  # and the link is still in step

    @pytest.mark.parametrize("answer", [b"1\n", b"1,0,1\n", b"1,2\n", b"1,\n", b"\n", b"1;0\n", b"1.0,0\n"])
    def test_an_answer_of_the_wrong_shape(self, matrix: RelayMatrix, bench: Matrix, answer: bytes) -> None:
        bench.instead["ROUT:CLOS?"] = answer
        with pytest.raises(BadAnswer, match=r"ROUT:CLOS\?") as caught:
            matrix.closed("1!1,1!2")
        assert caught.value.messages

    def test_signs_and_blanks_are_allowed(self, matrix: RelayMatrix, bench: Matrix) -> None:
        bench.instead["ROUT:CLOS?"] = b"+1, 0\n"
        assert matrix.closed("1!1,1!2") == {"1!1": True, "1!2": False}

    def test_not_finished(self, matrix: RelayMatrix, bench: Matrix) -> None:
        bench.instead["*OPC?"] = b"0\n"
        with pytest.raises(BadAnswer, match=r"\*OPC\?"):
            matrix.close("1!1")

    def test_never_finished(self, matrix: RelayMatrix, bench: Matrix, stopwatch: Callable[[], float]) -> None:
        bench.instead["*OPC?"] = None
        matrix.link.timeout_s = 0.5
        with pytest.raises(InstrumentTimeout):
            matrix.close("1!1")
        assert stopwatch() < 5.0


class TestChannels:
    @pytest.mark.parametrize(
        ("text", "channels"),
        [
            ("1!3", ["1!3"]),
            (" 1!3 , 2!4 ", ["1!3", "2!4"]),
            ("01!3", ["1!3"]),
            ("0101", ["0101"]),
            ("0099:0101", ["0099", "0100", "0101"]),
            # The last number runs fastest (SCPI-1999 vol. 1, 8.3.2).
            ("1!1:2!2", ["1!1", "1!2", "2!1", "2!2"]),
            ("1!1,1!1:1!2", ["1!1", "1!2"]),
        ],
    )
    def test_written_out(self, text: str, channels: list[str]) -> None:
        assert channel_list(text) == tuple(channels)

    @pytest.mark.parametrize(
        "text",
        ["", "1!", "!1", "1!!2", "1!2)", "1!2);*RST;(@1", "1!2\n*RST", "@1!2", "(@1!2)", "1 2", "1!2:1",
         "2!1:1!1", "1!2:", ":1!2", "1,,2", "-1", "1.5", "row", "1!2?", "1:2:3", "1!1:9999!9999", "٣!1"],
    )  # fmt: skip
    def test_refused(self, text: str) -> None:
        with pytest.raises(UsageError):
            channel_list(text)

    @given(st.text("0123456789!:,;()@ \n*RST?", max_size=12))
    def test_whatever_is_accepted_can_do_nothing_but_name_channels(self, text: str) -> None:
        try:
            channels = channel_list(text)
        except UsageError as error:
            assert "\n" not in error.message  # noqa: PT017 - either outcome is right
        else:
            assert channels
            assert all(re.fullmatch(r"[0-9]+(![0-9]+)*", channel) for channel in channels)

    def test_wanted_must_be_among_those_of_interest(self, matrix: RelayMatrix, bench: Matrix) -> None:
        with pytest.raises(UsageError, match="1!9"):
            matrix.set_closed("1!1,1!9", among=EVERY, settle_s=0.0)
        assert not bench.moves

    @pytest.mark.parametrize("settle_s", [-1.0, float("nan"), float("inf")])
    def test_settling_time_makes_sense(self, matrix: RelayMatrix, bench: Matrix, settle_s: float) -> None:
        with pytest.raises(UsageError, match="settling"):
            matrix.set_closed("1!1", among=EVERY, settle_s=settle_s)
        assert not bench.moves

    def test_long_lists_go_out_in_pieces(self, scripted: Any) -> None:
        sent: list[str] = []

        def answer(line: str) -> bytes | None:
            sent.append(line)
            if line.startswith("ROUT:CLOS?"):
                return ",".join("1" * (line.count(",") + 1)).encode() + b"\n"
            return {"*IDN?": b"a,b,c,d\n", "*OPC?": b"1\n", "SYST:ERR?": b'0,"No error"\n'}.get(line)

        with open_relays(scripted(answer).address) as matrix:
            matrix.set_closed("1001:1200", among="1001:1200", settle_s=0.0)
        assert max(map(len, sent)) <= 220
        for header in ("ROUT:CLOS (@", "ROUT:CLOS? (@"):
            told = [
                channel
                for line in sent
                if line.startswith(header)
                for channel in line[len(header) : -1].split(",")
            ]
            assert told == [str(n) for n in range(1001, 1201)]

    def test_errors_are_named(self) -> None:
        assert issubclass(SwitchError, InstrumentError)
