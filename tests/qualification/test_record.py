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
    RecordDamaged,
    UsageError,
)
from benchsweep.qualification import (
    AmbientFile,
    Bench,
    Places,
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
            "places": Places(((1, 2), (3, 4))),
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
    # The 100 s that it stayed away are those of the gap: no time is counted twice.
    assert [gap.seconds for gap in recorded.gaps] == pytest.approx([100.0, 1000.0], abs=0.1)
    assert [event.at for event in recorded.events] == sorted(event.at for event in recorded.events)
    assert recorded.began_at == "2026-03-01T12:00:00.000+00:00"


def test_what_will_not_pass_ends_it_at_once(rig: Rig) -> None:
    rig.analyzer.script = {3: InstrumentError("something is wrong")}
    with pytest.raises(InstrumentError, match="something"):
        rig.record(count=6)
    assert rig.analyzer.restored == 0
    finished = finish_series("simulated", SPECIMEN, folder=rig.folder, progress=rig.lines.append)
    assert (finished.sweeps, kinds(finished)) == (2, ["gap", "ended"])
    assert finished.reason == "an error ended it: something is wrong"


@pytest.mark.parametrize("away_first", [False, True], ids=["at once", "after a lost link"])
def test_after_a_power_cut_the_series_is_not_gone_on_with(away_first: bool, rig: Rig) -> None:
    cut = PowerCycled("the analyzer was switched off", hint="the calibration must be repeated")
    rig.analyzer.script = {3: LinkLost("nobody answers") if away_first else cut}
    rig.analyzer.restores = [LinkLost("nobody"), cut]
    with pytest.raises(PowerCycled) as caught:
        rig.record(count=6)
    for again in (caught.value, None):
        if again is None:
            with pytest.raises(PowerCycled) as caught:
                rig.record(count=6)
        assert "--finish packs 2 sweeps kept in" in caught.value.hint
        assert "begin a new series" in caught.value.hint
        assert "goes on" not in caught.value.hint
    assert rig.analyzer.attempts == 3
    finished = finish_series("simulated", SPECIMEN, folder=rig.folder, progress=rig.lines.append)
    assert (finished.sweeps, kinds(finished)) == (2, ["gap", "power", "ended"])
    assert rig.record(count=2).sweeps == 2


def test_whoever_saw_the_power_cut(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen by this run, or by another command since the series was begun."""
    import benchsweep.qualification._record as module

    broken_off_after(rig, 2)
    rig.analyzer.was_switched_on = True
    with pytest.raises(PowerCycled, match="seen just now"):
        rig.record(count=3)
    rig.analyzer.was_switched_on = False
    with monkeypatch.context() as patch:
        patch.setattr(module, "switched_on_at", lambda _: "2026-03-01T12:30:00.000+00:00")
        with pytest.raises(PowerCycled, match="seen at 2026-03-01T12:30"):
            rig.record(count=3)
        patch.setattr(module, "switched_on_at", lambda _: "2026-03-01T11:59:00.000+00:00")
        assert rig.record(count=3).sweeps == 3


def test_a_series_that_only_has_to_be_packed_is_packed_after_a_power_cut(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "link", failing)
        with pytest.raises(ArchiveError):
            rig.record(count=4)
    rig.analyzer.was_switched_on = True
    assert rig.record(count=4).sweeps == 4


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


@pytest.mark.parametrize(
    ("wishes", "told"),
    [
        ({"count": 2}, "; 2 sweeps: 25.5 kB, with 102 kB more while they are packed"),
        ({"every_s": 10.0, "lasting_s": 25.0}, "; 3 sweeps: 38.3 kB, with 102 kB more"),
        ({"count": 2, "every_s": 10.0, "lasting_s": 25.0}, "; 2 sweeps:"),
    ],
)
def test_space_is_counted_beforehand(
    wishes: dict[str, Any], told: str, rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sweep of 3 points of 4 x 4 ports has 768 bytes, and its file some 12 kB more."""
    free = [20_000]
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": free[0]}))
    rig.record(**wishes)
    assert any(
        line.startswith("each sweep takes 12.8 kB; 20 kB are free in") and told in line for line in rig.lines
    )
    assert any(line.startswith("warning: the disc is too small for that: ") for line in rig.lines)
    free[0], rig.lines[:] = 1_000_000, []
    rig.record(**wishes)
    assert not any("warning" in line for line in rig.lines)


def test_space_without_an_end_or_a_pace(rig: Rig) -> None:
    rig.analyzer.script = {2: rig.stop.set}
    rig.record()
    assert any(line.startswith("each sweep takes") and "sweeps:" not in line for line in rig.lines)
    rig.stop.clear()
    rig.lines.clear()
    rig.record(lasting_s=5.0)  # 0.5 s each: known after the first
    first = next(place for place, line in enumerate(rig.lines) if line.startswith("sweep 1"))
    assert any("; 10 sweeps: 128 kB" in line for line in rig.lines[first:])


def test_a_full_disc_says_how_much_is_missing(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 1000}))
    with monkeypatch.context() as patch:
        patch.setattr(os, "link", failing)
        with pytest.raises(ArchiveError) as caught:
            rig.record(count=4)
    needed = 4 * 768 + 100_000
    assert f"{needed} bytes are needed in {rig.folder}, 1000 are free: {needed - 1000} bytes are missing" in (
        caught.value.hint
    )
    assert "--finish --into DIR" in caught.value.hint
    elsewhere = rig.folder.parent / "elsewhere"
    finished = finish_series(
        "simulated", SPECIMEN, folder=rig.folder, into=elsewhere, progress=rig.lines.append
    )
    assert finished.record.parent == elsewhere
    check_series(finished.record)
    assert not (rig.folder / "unfinished").exists()


def test_where_the_sweeps_are_is_always_told(rig: Rig) -> None:
    def broken_off() -> None:
        raise KeyboardInterrupt

    rig.analyzer.script = {3: broken_off}
    with pytest.raises(KeyboardInterrupt):
        rig.record(count=5)
    folder = next((rig.folder / "unfinished").iterdir())
    assert f"sweeps are kept in {folder} until they are packed" in rig.lines
    assert rig.lines[-1].startswith(f"2 sweeps are kept in {folder}: the same command goes on")
    rig.lines.clear()
    rig.record(count=5)
    assert any(line.startswith("going on with") and f"2 sweeps in {folder}" in line for line in rig.lines)


def damage(folder: Path, *numbers: int) -> None:
    for number in numbers:
        path = folder / f"sweep-{number:07d}.h5"
        path.write_bytes(path.read_bytes()[:-9])


def test_damaged_sweeps_are_all_named_and_left_out(rig: Rig) -> None:
    broken_off_after(rig, 6)
    folder = next((rig.folder / "unfinished").iterdir())
    damage(folder, 2, 4)
    for _ in range(2):  # trying to pack changes nothing about how it ended
        with pytest.raises(RecordDamaged, match="of 6 sweeps 2 cannot be read: sweeps 2, 4") as caught:
            rig.record(count=6)
        assert "--finish --leave-out-damaged" in caught.value.hint
        assert f"4 of 6 sweeps can be read; all are kept in {folder}" in caught.value.hint
    with pytest.raises(RecordDamaged, match="sweeps 2, 4"):
        finish_series("simulated", SPECIMEN, folder=rig.folder, progress=rig.lines.append)
    done = finish_series(
        "simulated", SPECIMEN, folder=rig.folder, leave_out_damaged=True, progress=rig.lines.append
    )
    assert done.sweeps == 4
    assert done.reason == "an error ended it: stop here; damaged, so left out: sweeps 2, 4"
    check_series(done.record)


def test_a_killed_recording_with_damage_ends_as_it_did(rig: Rig) -> None:
    broken_off_after(rig, 6)
    folder = next((rig.folder / "unfinished").iterdir())
    (folder / "ending.h5").unlink()  # as after a kill
    damage(folder, 3, 5, 6)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(RecordDamaged, match="after sweep 4 sweeps 5, 6 cannot be read"):
        rig.record(count=10)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    with pytest.raises(RecordDamaged, match="sweeps 3, 5, 6"):
        finish_series("simulated", SPECIMEN, folder=rig.folder, progress=rig.lines.append)
    done = finish_series(
        "simulated", SPECIMEN, folder=rig.folder, leave_out_damaged=True, progress=rig.lines.append
    )
    assert done.sweeps == 3
    assert done.reason == (
        "it was cut off after sweep 4 (killed, or without power) and finished later; damaged, so left out: "
        "sweeps 3, 5, 6"
    )


def test_one_sweep_is_one_sweep(rig: Rig) -> None:
    assert rig.record(count=1).reason == "the one sweep is taken"
    assert any("packing 1 sweep into" in line for line in rig.lines)


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


def attached(hookup: Hookup) -> list[str]:
    return sorted({leg.partition(".")[0] for leg in hookup.connections.values()})


def test_which_hookup(rig: Rig) -> None:
    bench = rig.bench()
    assert dict(series_hookup(bench, ["B:12", "A:12"]).connections) == {
        1: "A:12.1",
        2: "A:12.2",
        3: "B:12.1",
        4: "B:12.2",
    }
    assert dict(series_hookup(bench, ["B:36"]).connections) == {1: "B:36.3", 2: "B:36.6"}
    assert attached(series_hookup(bench)) == ["A:12", "B:12"]
    for places, ports in (
        (3, "A:12 A:36 B:12"),
        (4, "A:12 A:36 B:12 B:36"),
        (8, "A:12 A:36 A:45 A:78 B:12 B:36 B:45 B:78"),
    ):
        slots = tuple((2 * n + 1, 2 * n + 2) for n in range(places))
        assert attached(series_hookup(replace(bench, places=Places(slots)))) == ports.split()
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
        series_hookup(replace(bench, places=Places(((1, 2),))))
