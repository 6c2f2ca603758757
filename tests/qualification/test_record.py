"""The loop of a recording, with an analyzer and a clock that do as they are told."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep import fixture
from benchsweep.acquisition import Again, Done
from benchsweep.archive import check_series, open_series
from benchsweep.definitions import find_definition
from benchsweep.errors import (
    ArchiveError,
    BadAnswer,
    HookupImpossible,
    InstrumentError,
    LinkLost,
    PowerCycled,
    UsageError,
)
from benchsweep.qualification import (
    AmbientFile,
    Bench,
    Recorded,
    TypedAmbient,
    Wishes,
    finish_series,
    load_station,
    record_series,
    series_hookup,
)
from benchsweep.records import AnalyzerIdentity, Hookup, RawSweep, Specimen, SweepSettings

BEGAN = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
SPECIMEN = Specimen("T118-07", 2.0)
GRID = np.array([1e6, 2e6, 3e6])


@dataclass
class FakeClock:
    """Time that passes only when somebody waits or sweeps."""

    passed_s: float = 0.0
    moved_s: float = 0.0
    waits: list[float] = field(default_factory=list)
    on_wait: Callable[[], None] = lambda: None

    def now(self) -> datetime:
        return BEGAN + timedelta(seconds=self.passed_s + self.moved_s)

    def monotonic(self) -> float:
        return 1000.0 + self.passed_s

    def wait(self, seconds: float, stop: threading.Event) -> None:
        assert len(self.waits) < 10_000
        if not stop.is_set():
            self.waits.append(seconds)
            self.passed_s += max(seconds, 0.0)
        self.on_wait()


@dataclass
class FakeAnalyzer:
    """Sweeps in 0.5 s; `script` says for each attempt what goes wrong: an error, or extra seconds."""

    clock: FakeClock
    ports: int = 4
    script: dict[int, Any] = field(default_factory=dict)
    restores: list[Exception | None] = field(default_factory=list)
    attempts: int = 0
    restored: int = 0
    starts: list[float] = field(default_factory=list)
    idn: str = "Simulated works,bench,1,0"
    was_switched_on: bool = False
    frequency_hz: Any = field(default_factory=lambda: GRID)

    @property
    def identity(self) -> AnalyzerIdentity:
        return AnalyzerIdentity(self.idn, "named-measurement", self.ports)

    def sweep(self, ports: Sequence[int]) -> RawSweep:
        self.attempts += 1
        self.starts.append(self.clock.passed_s)
        wrong = self.script.get(self.attempts)
        if callable(wrong):
            wrong = wrong()
        if isinstance(wrong, Exception):
            raise wrong
        seconds = 0.5 + (wrong or 0.0)
        self.clock.passed_s += seconds
        n = len(ports)
        s = np.full((GRID.size, n, n), self.attempts, dtype=complex)
        return RawSweep(GRID, s, tuple(ports), self.clock.now().isoformat(), seconds, {"FORM?": "REAL,64"})

    def restore(self) -> None:
        self.restored += 1
        if self.restores and (error := self.restores.pop(0)) is not None:
            raise error


@dataclass
class FakeSwitch:
    moves: list[object] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def connect(self, hookup: Hookup, *, total: int) -> object:
        self.told.append("connect")
        return self.moves.pop(0) if self.moves else Done()

    def restore(self, hookup: Hookup) -> None:
        self.told.append("restore")

    def confirm(self, hookup: Hookup) -> None:
        pass


@dataclass
class Rig:
    """All that a recording needs."""

    folder: Path
    clock: FakeClock = field(default_factory=FakeClock)
    lines: list[str] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self.analyzer = FakeAnalyzer(self.clock)
        self.switch = FakeSwitch()

    def bench(self) -> Bench:
        path = find_definition("fixtures", "contacts")
        parts: dict[str, Any] = {
            "station": load_station("simulated"),
            "analyzer": self.analyzer,
            "switch": self.switch,
            "fixture": fixture.load_fixture("contacts"),
            "fixture_toml": path.read_text(encoding="utf-8"),
            "used": SweepSettings(1e6, 3e6, 3, 1e3),
            "slots": ((1, 2), (3, 4)),
        }
        return Bench(**parts)

    @contextmanager
    def listen(self) -> Iterator[threading.Event]:
        yield self.stop

    def record(self, **options: Any) -> Recorded:
        bench = self.bench()
        wishes = options.pop("wishes", None) or Wishes(
            **{key: options.pop(key) for key in list(options) if key in Wishes.__slots__}
        )
        content: dict[str, Any] = {
            "hookup": series_hookup(bench),
            "solved": lambda: None,
            "folder": self.folder,
            "wishes": wishes,
            "clock": self.clock,
            "listen": self.listen,
            "progress": self.lines.append,
        }
        specimen = options.pop("specimen", SPECIMEN)
        return record_series(bench, specimen, **(content | options))


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path / "archive")


def kinds(recorded: Recorded) -> list[str]:
    return [event.kind for event in recorded.events]


def test_by_number(rig: Rig) -> None:
    recorded = rig.record(
        count=7, description="soak", operator="M. Lindqvist", ambient=TypedAmbient({"t": 20.5})
    )
    assert (recorded.sweeps, recorded.reason, recorded.events) == (7, "all 7 sweeps are taken", ())
    check_series(recorded.record)
    with open_series(recorded.record) as reader:
        assert reader.head.description == "soak"
        assert reader.head.started_at == "2026-03-01T12:00:00.000+00:00"
        assert [sweep.sweep.s[0, 0, 0] for sweep in reader.sweeps()] == [1, 2, 3, 4, 5, 6, 7]
        assert [dict(sweep.ambient) for sweep in reader.sweeps()] == [{"t": 20.5}] * 7
    assert rig.switch.told == ["connect"]


def test_an_interval_keeps_to_the_clock(rig: Rig) -> None:
    """The eleventh sweep begins at ten intervals exactly: what a sweep takes does not add up."""
    rig.record(count=11, every_s=60.0)
    assert rig.analyzer.starts == pytest.approx([60.0 * n for n in range(11)])


def test_a_late_sweep_is_told_and_nothing_piles_up(rig: Rig) -> None:
    rig.analyzer.script = {3: 25.0}  # the third sweep takes 25.5 s of an interval of 10 s
    recorded = rig.record(count=6, every_s=10.0)
    # Due at 30 while the third runs (20 to 45.5): begins at once, 15.5 s late; 40 is left out; then 50, 60.
    assert rig.analyzer.starts == pytest.approx([0.0, 10.0, 20.0, 45.5, 50.0, 60.0])
    assert kinds(recorded) == ["late"]
    assert recorded.events[0].seconds == pytest.approx(15.5)
    assert "1 more of the schedule was left out" in recorded.events[0].words


def test_for_a_time(rig: Rig) -> None:
    recorded = rig.record(every_s=60.0, lasting_s=200.0)
    assert rig.analyzer.starts == pytest.approx([0.0, 60.0, 120.0, 180.0])
    assert recorded.reason == "the time is over, 200 s since the beginning"
    assert rig.clock.passed_s == pytest.approx(200.0)


def test_until_stopped_ends_with_a_finished_record(rig: Rig) -> None:
    rig.analyzer.script = {5: rig.stop.set}  # while the fifth sweep runs: it is still taken
    recorded = rig.record()
    assert (recorded.sweeps, recorded.reason) == (5, "it was stopped by the operator")
    check_series(recorded.record)
    assert not (rig.folder / "unfinished").exists()


def test_stopped_while_waiting_for_the_next_sweep(rig: Rig) -> None:
    rig.clock.on_wait = lambda: rig.stop.set() if len(rig.clock.waits) == 3 else None
    recorded = rig.record(every_s=600.0)
    assert recorded.sweeps == 3


def test_stopped_before_the_first_sweep_leaves_nothing(rig: Rig) -> None:
    rig.stop.set()
    with pytest.raises(KeyboardInterrupt):
        rig.record()
    assert not (rig.folder / "unfinished").exists()
    assert not list(rig.folder.glob("*"))


def test_a_lost_link_is_a_gap(rig: Rig) -> None:
    rig.analyzer.script = {3: LinkLost("nobody answers")}
    rig.analyzer.restores = [LinkLost("still nobody")] * 4
    recorded = rig.record(count=5)
    assert recorded.sweeps == 5
    assert kinds(recorded) == ["gap"]
    gap = recorded.gaps[0]
    assert gap.at == "2026-03-01T12:00:01.000+00:00"
    assert gap.seconds == pytest.approx(0.05 + 0.1 + 0.2 + 0.4 + 0.8 + 0.5)
    assert gap.words.startswith("nobody answers; 5 attempts failed in ")
    assert rig.switch.told == ["connect", "restore"]
    with open_series(recorded.record) as reader:
        assert [event.kind for event in reader.sweep(3).events] == ["gap"]
        # Never spliced: the third sweep is that of the fourth attempt.
        assert reader.sweep(3).sweep.s[0, 0, 0] == 4


def test_a_wrong_answer_is_tried_again_too(rig: Rig) -> None:
    rig.analyzer.script = {2: BadAnswer("a block is cut short"), 3: BadAnswer("again")}
    recorded = rig.record(count=3)
    assert (recorded.sweeps, kinds(recorded)) == (3, ["gap"])
    assert rig.analyzer.restored == 2


def test_who_stays_away_too_long_ends_it_and_the_same_call_goes_on(rig: Rig) -> None:
    rig.analyzer.script = {4: LinkLost("nobody answers")}
    rig.analyzer.restores = [LinkLost("nobody")] * 1000
    with pytest.raises(LinkLost) as caught:
        rig.record(count=6, wait_for_link_s=100.0)
    assert rig.clock.passed_s == pytest.approx(1.5 + 100.0, abs=0.01)
    assert max(rig.clock.waits) <= 5.0
    folder = next((rig.folder / "unfinished").iterdir())
    assert f"3 sweeps are kept in {folder}" in caught.value.hint
    check_series(folder)
    with open_series(folder) as reader:
        assert reader.ending is not None
        assert [event.kind for event in reader.ending.events] == ["gap", "ended"]
    rig.analyzer.restores = []
    rig.clock.passed_s += 1000.0
    recorded = rig.record(count=6)
    assert recorded.sweeps == 6
    assert kinds(recorded) == ["gap", "ended", "resumed"]
    assert recorded.gaps[1].seconds == pytest.approx(1100.0, abs=0.1)
    assert recorded.began_at == "2026-03-01T12:00:00.000+00:00"


@pytest.mark.parametrize(
    "error", [PowerCycled("the analyzer was switched off"), InstrumentError("something is wrong")]
)
def test_what_will_not_pass_ends_it_at_once(error: InstrumentError, rig: Rig) -> None:
    rig.analyzer.script = {3: error}
    with pytest.raises(type(error)):
        rig.record(count=6)
    assert rig.analyzer.restored == 0
    finished = finish_series("simulated", SPECIMEN, folder=rig.folder, progress=rig.lines.append)
    assert (finished.sweeps, kinds(finished)) == (2, ["gap", "ended"])
    assert finished.reason == f"an error ended it: {error}"


def test_stopped_while_the_link_is_lost(rig: Rig) -> None:
    rig.analyzer.script = {3: LinkLost("nobody answers")}
    rig.analyzer.restores = [LinkLost("nobody")] * 1000
    rig.clock.on_wait = lambda: rig.stop.set() if len(rig.clock.waits) == 6 else None
    recorded = rig.record()
    assert (recorded.sweeps, kinds(recorded)) == (2, ["gap"])


def test_an_error_before_the_first_sweep_leaves_nothing(rig: Rig) -> None:
    rig.analyzer.script = {1: InstrumentError("broken")}
    with pytest.raises(InstrumentError) as caught:
        rig.record(count=2)
    assert "kept" not in caught.value.hint
    assert not (rig.folder / "unfinished").exists()


def test_a_full_disc_keeps_what_there_is(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    real, left = os.fsync, [9]

    def failing(descriptor: int) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(descriptor)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", failing)
        with pytest.raises(ArchiveError, match="the disc is full") as caught:
            rig.record(count=20)
    assert caught.value.exit_code == 6
    assert "3 sweeps are kept in" in caught.value.hint
    recorded = rig.record(count=5)
    assert (recorded.sweeps, kinds(recorded)) == (5, ["resumed"])
    check_series(recorded.record)


def test_a_full_disc_while_packing_keeps_the_reason(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "link", failing)
        with pytest.raises(ArchiveError, match="the disc is full") as caught:
            rig.record(count=4)
    assert caught.value.hint.count("4 sweeps are kept") == 1
    rig.clock.passed_s += 5000.0
    recorded = rig.record(count=4)  # only packs: nothing is connected, nothing swept
    assert (recorded.sweeps, recorded.reason, recorded.events) == (4, "all 4 sweeps are taken", ())
    assert rig.analyzer.attempts == 4
    assert rig.switch.told == ["connect"]
    assert recorded.ended_at == "2026-03-01T12:00:02.000+00:00"


def test_a_second_stop_leaves_a_folder_to_go_on_with(rig: Rig) -> None:
    def broken_off() -> None:
        raise KeyboardInterrupt

    rig.analyzer.script = {3: broken_off}
    with pytest.raises(KeyboardInterrupt):
        rig.record(count=5)
    recorded = rig.record(count=5)
    assert (recorded.sweeps, kinds(recorded)) == (5, ["ended", "resumed"])
    with open_series(recorded.record) as reader:
        assert [sweep.sweep.s[0, 0, 0] for sweep in reader.sweeps()] == [1, 2, 4, 5, 6]


def broken_off_after(rig: Rig, sweeps: int, **options: Any) -> None:
    rig.analyzer.script = {rig.analyzer.attempts + sweeps + 1: InstrumentError("stop here")}
    with pytest.raises(InstrumentError):
        rig.record(count=100, **options)


def test_other_conditions_do_not_slip_into_a_series(rig: Rig) -> None:
    broken_off_after(rig, 2, description="soak")
    rig.analyzer.idn = "Simulated works,bench,2,0"
    with pytest.raises(UsageError, match="had another analyzer"):
        rig.record(count=3)
    rig.analyzer.idn = "Simulated works,bench,1,0"
    with pytest.raises(UsageError, match="had another description"):
        rig.record(count=3, description="flexing")
    with pytest.raises(UsageError, match="had other connections"):
        rig.record(count=3, hookup=series_hookup(rig.bench(), ["A:78"]))
    assert rig.record(count=3).sweeps == 3  # no description given: that of the beginning


def test_an_analyzer_that_was_switched_off_meanwhile_is_told(rig: Rig) -> None:
    broken_off_after(rig, 2)
    rig.analyzer.was_switched_on = True
    resumed = rig.record(count=3).gaps[-1]
    assert resumed.words.endswith("went on; the analyzer was switched off and on meanwhile")


def test_afresh(rig: Rig) -> None:
    broken_off_after(rig, 4)
    recorded = rig.record(count=2, afresh=True)
    assert recorded.sweeps == 2
    with open_series(recorded.record) as reader:
        assert reader.sweep(1).sweep.s[0, 0, 0] == 6


def test_two_specimens_do_not_meet(rig: Rig) -> None:
    broken_off_after(rig, 3)
    other = rig.record(count=2, specimen=Specimen("T118-08"))
    assert other.sweeps == 2
    assert rig.record(count=4).sweeps == 4


def test_nothing_to_finish(rig: Rig) -> None:
    rig.folder.mkdir()
    with pytest.raises(UsageError, match="no interrupted recording of T118-07"):
        finish_series("simulated", SPECIMEN, folder=rig.folder, progress=rig.lines.append)
    assert not any(rig.folder.iterdir())


def test_a_moved_clock_is_told(rig: Rig) -> None:
    def moved() -> None:
        rig.clock.moved_s += 3600.0

    rig.analyzer.script = {3: moved}
    recorded = rig.record(count=4)
    assert kinds(recorded) == ["clock"]
    assert recorded.events[0].seconds == pytest.approx(3600.0)


def test_a_person_who_wants_to_hear_it_again(rig: Rig) -> None:
    rig.switch.moves = [Again(), Done()]
    assert rig.record(count=1).sweeps == 1
    assert rig.switch.told == ["connect", "connect"]


def test_lines_are_at_most_about_one_a_second(rig: Rig) -> None:
    rig.record(count=200)  # 0.5 s each
    told = [line for line in rig.lines if line.startswith("sweep ")]
    assert 90 <= len(told) <= 112
    assert told[0].startswith("sweep 1 of 200: 0.50 s")


def test_space_is_counted_beforehand(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 20_000}))
    rig.record(count=2)
    assert any(line.startswith("warning: 2 sweeps need 0.0 GB") for line in rig.lines)


def test_readings_from_a_file_that_comes_and_goes(rig: Rig, tmp_path: Path) -> None:
    path = tmp_path / "chamber.csv"

    def write(text: str) -> Callable[[], None]:
        return lambda: path.write_text(text) and None

    line = "time,temperature_degc\n2026-03-01T12:00:{:02d}Z,{}\n"
    rig.analyzer.script = {
        2: write(line.format(5, 23.5)),
        4: path.unlink,
        5: write(line.format(20, 24.5)),
    }
    ambient = AmbientFile(path, stale_s=60.0)
    recorded = rig.record(count=6, every_s=10.0, ambient=ambient)
    with open_series(recorded.record) as reader:
        found = [sweep.ambient.get("temperature_degc") for sweep in reader.sweeps()]
        assert found == [None, 23.5, 23.5, None, 24.5, 24.5]
        told = {sweep.number: [event.words for event in sweep.events] for sweep in reader.sweeps()}
    assert "No such file" in told[1][0]
    assert "there again" in told[2][0]
    assert "No such file" in told[4][0]
    assert "there again" in told[5][0]
    assert told[3] == told[6] == []


def test_which_hookup(rig: Rig) -> None:
    bench = rig.bench()
    assert dict(series_hookup(bench, ["B:12", "A:12"]).connections) == {
        1: "A:12.1",
        2: "A:12.2",
        3: "B:12.1",
        4: "B:12.2",
    }
    assert dict(series_hookup(bench, ["B:36"]).connections) == {1: "B:36.3", 2: "B:36.6"}
    assert len(series_hookup(bench).connections) == 4
    for ports, words in (
        (["A:12", "B:12", "A:36"], "3 balanced ports are to be attached, the bench has 2 places"),
        (["C:12"], "no balanced port 'C:12'"),
        (["A:13"], "no balanced port 'A:13'"),
        (["A:12", "A:12"], "each once"),
        ([""], "no balanced port ''"),
    ):
        with pytest.raises(UsageError, match=words):
            series_hookup(bench, ports)
    with pytest.raises(HookupImpossible):
        series_hookup(replace(bench, slots=((1, 2),)))
