"""Whatever single answer an instrument gets wrong, the person sees a named error or data, and no hang."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchsweep.errors import BenchsweepError
from benchsweep.instrument import Analyzer, open_link
from benchsweep.instrument.families._identify import recognise
from benchsweep.instrument.links._transport import Transport
from benchsweep.records import SweepSettings
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

SETTINGS = SweepSettings(1e6, 100e6, 5, if_bandwidth_hz=10e3)
# Identification, settings and one sweep of two ports ask fewer questions than this.
MOST_ANSWERS = 90


@pytest.fixture(scope="module")
def bench() -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=2, noiseless=True)) as running:
        yield running


class Corrupting:
    """A transport that exchanges one answer."""

    def __init__(self, inner: Transport, which: int, answer: bytes) -> None:
        self._inner = inner
        self._left = which
        self._answer = answer
        self.stream = inner.stream

    def _due(self) -> bool:
        self._left -= 1
        return self._left == -1

    def read_line(self, timeout_s: float) -> bytes:
        line = self._inner.read_line(timeout_s)
        return self._answer if self._due() else line

    def read_header(self, count: int, timeout_s: float) -> bytes:
        header = self._inner.read_header(count, timeout_s)
        return (self._answer + b"0" * count)[:count] if self._due() else header

    def read_body(self, count: int, timeout_s: float) -> tuple[NDArray[np.uint8], bytes]:
        data, end = self._inner.read_body(count, timeout_s)
        if self._due():
            wrong = np.resize(np.frombuffer(self._answer or b"\x00", np.uint8), max(8, count // 8 * 8))
            return wrong.copy(), end
        return data, end

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)


def measure(address: str, which: int, answer: bytes) -> NDArray[np.complex128]:
    with open_link(address) as link:
        link.timeout_s = 0.25  # whatever is taken for no answer is an error with a name
        link._transport = Corrupting(link._transport, which, answer)  # type: ignore[assignment]
        identity, family = recognise(link)
        analyzer = Analyzer(link, identity, family, minimum_timeout_s=0.25)
        analyzer.configure(SETTINGS, (1, 2))
        return analyzer.sweep((1, 2)).s


ANSWERS = st.one_of(
    st.sampled_from(
        [b"", b"0", b"1", b"+1", b"NAN", b"9.91E37", b"1E400", b"-1", b'-350,"Queue overflow"', b"ON",
         b",,,", b";;;", b'"', b'0,"No error"', b"REAL,+64", b"\xff\xfe", b"#", b"16", b"4096", b"1;2;3"]
    ),
    st.binary(max_size=40).filter(lambda raw: b"\n" not in raw),
)  # fmt: skip


@given(which=st.integers(0, MOST_ANSWERS), answer=ANSWERS)
@settings(max_examples=120, deadline=20_000)
def test_one_wrong_answer(bench: RunningBench, which: int, answer: bytes) -> None:
    try:
        s = measure(bench.address, which, answer)
    except BenchsweepError as error:
        message = error.message
        assert error.exit_code in (2, 4)  # noqa: PT017 - either outcome is right
        assert "\n" not in message
        assert message.isprintable()
    else:
        assert s.shape == (5, 2, 2)


def test_a_completion_that_somebody_else_took_is_asked_for_again(bench: RunningBench, stopwatch: Any) -> None:
    """The first answer after the preset says that nothing has ended, and reading has cleared the bit."""
    with open_link(bench.address, timeout_s=10.0) as link:
        identity, family = recognise(link)
        link._transport = Corrupting(link._transport, 1, b"0")  # type: ignore[assignment]
        assert Analyzer(link, identity, family).configure(SETTINGS, (1, 2)).points == 5
    assert stopwatch() < 9.0  # sooner than the preset may take


def test_the_range_of_answers_is_covered(bench: RunningBench) -> None:
    """The count above is neither too small (some answers never touched) nor absurdly large."""
    counting = Corrupting.__new__(Corrupting)
    with open_link(bench.address, timeout_s=10.0) as link:
        counting.__init__(link._transport, 10_000, b"")  # type: ignore[misc]
        link._transport = counting  # type: ignore[assignment]
        identity, family = recognise(link)
        analyzer = Analyzer(link, identity, family)
        analyzer.configure(SETTINGS, (1, 2))
        analyzer.sweep((1, 2))
    asked = 10_000 - counting._left
    assert MOST_ANSWERS // 2 < asked <= MOST_ANSWERS
