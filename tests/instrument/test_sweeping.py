"""How soon the end of a sweep is seen, and how often it is asked for, on a clock that only goes when used."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from benchsweep.errors import InstrumentTimeout
from benchsweep.instrument import load_family
from benchsweep.instrument._status import COMPLETE
from benchsweep.instrument._sweeping import run_sweep

# What a question and its answer take.
ROUND_TRIP_S = 0.0002


class Swept:
    """Stands for the status register of an analyzer whose sweep takes a given time."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 100.0
        self.ends_s = 0.0
        self.takes_s = 0.0
        self.polls = 0
        self.link = SimpleNamespace(address="nowhere", write=self._write, errors=tuple, check=lambda *_: None)
        clock = SimpleNamespace(monotonic=lambda: self.now_s, sleep=self._sleep)
        monkeypatch.setattr("benchsweep.instrument._sweeping.time", clock)

    def _write(self, *commands: str) -> None:
        if "*OPC" in commands:
            self.ends_s = self.now_s + self.takes_s

    def _sleep(self, seconds: float) -> None:
        assert seconds > 0.0
        self.now_s += seconds

    def read(self) -> int:
        self.polls += 1
        self.now_s += ROUND_TRIP_S
        return COMPLETE if self.now_s >= self.ends_s else 0

    def sweep(self, takes_s: float, expected_s: float, usual_s: float | None = None) -> float:
        """Return after what time the end was seen."""
        self.takes_s, started_s, self.polls = takes_s, self.now_s, 0
        run_sweep(self, load_family("named-measurement"), 1, expected_s, 10.0, usual_s)  # type: ignore[arg-type]
        return self.now_s - started_s


@pytest.fixture
def swept(monkeypatch: pytest.MonkeyPatch) -> Swept:
    return Swept(monkeypatch)


@pytest.mark.parametrize("takes_s", [0.0005, 0.003, 0.029, 0.4, 20.0, 600.0])
def test_the_end_is_seen_ever_sooner_and_then_at_once(swept: Swept, takes_s: float) -> None:
    """The first is up to a tenth of a second late, where the instrument states 20 s too much."""
    usual_s, late_s = None, 0.1
    for _ in range(25):
        usual_s = swept.sweep(takes_s, expected_s=20.0 + takes_s, usual_s=usual_s)
        assert 0.0 <= usual_s - takes_s <= late_s + 0.0025
        late_s = usual_s - takes_s
    assert usual_s <= takes_s + 0.003


@pytest.mark.parametrize("takes_s", [0.003, 0.029, 0.4, 20.0])
def test_one_slow_sweep_does_not_slow_the_later_ones(swept: Swept, takes_s: float) -> None:
    slow_s = usual_s = swept.sweep(2.0 * takes_s, expected_s=50.0, usual_s=2.0 * takes_s)
    assert slow_s >= 2.0 * takes_s
    for _ in range(20):
        usual_s = swept.sweep(takes_s, expected_s=50.0, usual_s=usual_s)
    assert usual_s <= takes_s + 0.003


def test_a_sweep_is_not_asked_to_death(swept: Swept) -> None:
    """Questions cost an analyzer time of its own."""
    swept.sweep(0.029, expected_s=20.0, usual_s=0.030)
    assert swept.polls <= 8
    swept.sweep(20.0, expected_s=20.0, usual_s=20.0)
    assert swept.polls <= 220


def test_a_sweep_that_does_not_end_is_given_up(swept: Swept) -> None:
    with pytest.raises(InstrumentTimeout, match=r"13\.\d s passed, 1 s were expected"):
        swept.sweep(1e9, expected_s=1.0, usual_s=0.9)
    assert swept.polls <= 200
