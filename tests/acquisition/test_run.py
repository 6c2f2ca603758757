"""Running a plan: nothing finished is lost, and a resumed run gives what an uninterrupted one gives."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from benchsweep.acquisition import (
    Done,
    Move,
    PersonSwitch,
    SimulatedSwitch,
    make_calibration_plan,
    make_plan,
    run_plan,
)
from benchsweep.errors import AcquisitionError, BadAnswer
from benchsweep.instrument import open_analyzer
from benchsweep.records import Hookup, Plan, RawHookup, RawSweep, SweepSettings, balanced_ports
from benchsweep.simulator import BenchOptions, running_bench

GRID = np.linspace(1e6, 100e6, 5)
SLOTS = [(1, 2), (3, 4), (5, 6), (7, 8)]


class Memory:
    """A store that survives what happens to the run."""

    def __init__(self) -> None:
        self.kept: dict[int, RawHookup] = {}

    def finished(self) -> Mapping[int, RawHookup]:
        return dict(self.kept)

    def save(self, raw: RawHookup) -> None:
        self.kept[raw.hookup.number] = raw


class Counting:
    """An analyzer whose data tell what was connected; it stops when told."""

    def __init__(self, stop_before: int | None = None) -> None:
        self.frequency_hz = GRID
        self.swept: list[tuple[int, ...]] = []
        self.connected: Hookup | None = None
        self._stop_before = stop_before

    def connect(self, hookup: Hookup, *, total: int) -> Move:
        self.connected = hookup
        return Done()

    def restore(self, hookup: Hookup | None = None) -> None:
        raise AssertionError("nothing was lost")

    def confirm(self, hookup: Hookup) -> None:
        assert self.connected is hookup

    def finished(self, *, total: int) -> Move:
        return Done()

    def sweep(self, ports: Sequence[int], *, switch_terms: Collection[tuple[int, int]] = ()) -> RawSweep:
        if len(self.swept) == self._stop_before:
            raise KeyboardInterrupt
        self.swept.append(tuple(ports))
        assert self.connected is not None
        seed = abs(hash(tuple(sorted(self.connected.connections.items())))) % 2**32
        s = np.random.default_rng(seed).standard_normal((GRID.size, len(ports), len(ports))) + 0j
        terms = None
        if switch_terms:
            terms = np.zeros_like(s)
            for pair in switch_terms:
                terms[:, ports.index(pair[0]), ports.index(pair[1])] = 0.1j
        return RawSweep(GRID, s, tuple(ports), "2026-01-01T00:00:00+00:00", 0.1, switch_terms=terms)


def quiet(line: str) -> None:
    """Take a progress line."""


def run(plan: Plan, analyzer: Counting, store: Memory) -> tuple[RawHookup, ...]:
    return run_plan(plan, analyzer, analyzer, store, progress=quiet)


PLAN = make_plan(SLOTS, balanced_ports())


@pytest.mark.parametrize("stop", range(len(PLAN.hookups) + 1))
def test_stopped_after_any_hookup_and_run_again(stop: int) -> None:
    whole = run(PLAN, Counting(), Memory())
    store = Memory()
    stopped = Counting(stop_before=stop)
    if stop < len(PLAN.hookups):
        with pytest.raises(KeyboardInterrupt):
            run(PLAN, stopped, store)
        assert sorted(store.kept) == list(range(1, stop + 1))
    else:
        run(PLAN, stopped, store)
    resumed = Counting()
    again = run(PLAN, resumed, store)
    assert len(resumed.swept) == len(PLAN.hookups) - stop
    assert [raw.hookup.number for raw in again] == [raw.hookup.number for raw in whole]
    for one, other in zip(whole, again, strict=True):
        assert one.hookup.connections == other.hookup.connections
        assert one.sweep.s.tobytes() == other.sweep.s.tobytes()


def test_each_hookup_is_stored_before_the_next_is_connected() -> None:
    store = Memory()
    seen: list[int] = []

    class Watching(Counting):
        def connect(self, hookup: Hookup, *, total: int) -> Move:
            seen.append(len(store.kept))
            return super().connect(hookup, total=total)

    run(PLAN, Watching(), store)
    assert seen == list(range(len(PLAN.hookups)))


def test_one_progress_line_for_each_hookup_that_is_made() -> None:
    store = Memory()
    with pytest.raises(KeyboardInterrupt):
        run(PLAN, Counting(stop_before=2), store)
    lines: list[str] = []
    analyzer = Counting()
    run_plan(PLAN, analyzer, analyzer, store, progress=lines.append)
    assert len(lines) == 4  # two were stored before
    assert lines[0].startswith("hookup 3 of 6: ")
    assert lines[0].endswith(" s of sweeping")


def test_a_person_who_resumes_is_told_everything_again() -> None:
    store = Memory()
    with pytest.raises(KeyboardInterrupt):
        run(PLAN, Counting(stop_before=3), store)
    analyzer = Counting()
    words: list[str] = []

    class Person(PersonSwitch):
        def connect(self, hookup: Hookup, *, total: int) -> Move:
            analyzer.connect(hookup, total=total)
            return super().connect(hookup, total=total)

    def enter(text: str) -> str:
        words.append(text)
        return ""

    run_plan(PLAN, analyzer, Person(enter), store, progress=quiet)
    assert len(words) == 4
    assert words[3] == "All 6 hookups are swept."
    assert words[0].startswith("Hookup 4 of 6\n")
    assert "Take everything off" in words[0]
    assert "Take everything off" not in words[1]


class TestStoreOfAnotherJob:
    def refused(self, plan: Plan, store: Memory, words: str) -> None:
        analyzer = Counting()
        with pytest.raises(AcquisitionError, match=words) as caught:
            run(plan, analyzer, store)
        assert analyzer.swept == []
        assert "Discard" in caught.value.hint

    def finished(self) -> Memory:
        store = Memory()
        run(PLAN, Counting(), store)
        return store

    def test_other_connections(self) -> None:
        turned = make_plan([(2, 1), *SLOTS[1:]], balanced_ports())
        self.refused(turned, self.finished(), "hookup 1 .* analyzer port 1 on A:12.1, the plan wants A:12.2")

    def test_hookup_beyond_the_plan(self) -> None:
        store = Memory()
        store.kept[99] = next(iter(self.finished().kept.values()))
        self.refused(PLAN, store, "holds hookup 99, but the plan has 6")

    def test_other_grid(self) -> None:
        store = self.finished()
        raw = store.kept[3]
        store.kept[3] = replace(raw, sweep=replace(raw.sweep, frequency_hz=GRID + 1.0))
        self.refused(PLAN, store, "hookup 3 .* another frequency grid")

    def test_other_ports(self) -> None:
        store = self.finished()
        raw = store.kept[2]
        store.kept[2] = replace(raw, sweep=replace(raw.sweep, analyzer_ports=tuple(range(2, 10))))
        self.refused(PLAN, store, "hookup 2 .* swept with ports")


class TestOnTheSimulatedBench:
    """The whole of it over TCP: noiseless, so that two runs are equal to the last bit."""

    settings = SweepSettings(1e6, 100e6, 11, if_bandwidth_hz=10e3)

    def test_stopped_by_a_fault_and_run_again(self) -> None:
        options = BenchOptions(ports=8, noiseless=True)
        with running_bench(options) as bench, open_analyzer(bench.address) as analyzer:
            analyzer.configure(self.settings, range(1, 9))
            switch = SimulatedSwitch(lambda: analyzer.link)
            whole = run_plan(PLAN, analyzer, switch, Memory(), progress=quiet)

            store = Memory()

            class Failing(SimulatedSwitch):
                def connect(self, hookup: Hookup, *, total: int) -> Done:
                    done = super().connect(hookup, total=total)
                    if hookup.number == 4:
                        analyzer.link.write('BENCh:FAULt "wrong-count"')
                    return done

            with pytest.raises(BadAnswer):
                run_plan(PLAN, analyzer, Failing(lambda: analyzer.link), store, progress=quiet, retries=0)
            assert sorted(store.kept) == [1, 2, 3]
            again = run_plan(PLAN, analyzer, switch, store, progress=quiet)
        for one, other in zip(whole, again, strict=True):
            assert one.sweep.s.tobytes() == other.sweep.s.tobytes()
        # Hookups differ from each other, so that equality above means something.
        assert len({raw.sweep.s.tobytes() for raw in whole}) == 6

    def test_a_calibration_sweeps_only_the_two_ports_of_a_thru(self) -> None:
        with (
            running_bench(BenchOptions(ports=4, noiseless=True)) as bench,
            open_analyzer(bench.address) as analyzer,
        ):
            analyzer.configure(self.settings, range(1, 5))
            plan = make_calibration_plan(range(1, 5))
            done = run_plan(plan, analyzer, SimulatedSwitch(lambda: analyzer.link), Memory(), progress=quiet)
        assert [raw.sweep.analyzer_ports for raw in done] == [(1, 2, 3, 4)] * 3 + [(1, 2), (1, 3), (1, 4)]
        # A thru passes nearly everything, an open nothing between ports.
        for raw in done[3:]:
            assert np.all(np.abs(raw.sweep.s[:, 1, 0]) > 0.5)
        off = ~np.eye(4, dtype=bool)
        assert np.max(np.abs(done[0].sweep.s[:, off])) < 1e-3


def joins(hookup: Hookup) -> bool:
    return any(" " in target for target in hookup.connections.values())


def test_switch_terms_are_swept_where_they_are_wanted() -> None:
    plan = make_calibration_plan((1, 2, 3))
    store = Memory()
    done = run_plan(plan, (bench := Counting()), bench, store, progress=quiet, wants_switch_terms=joins)
    assert [raw.sweep.switch_terms is not None for raw in done] == [joins(raw.hookup) for raw in done]
    assert sum(joins(raw.hookup) for raw in done) == 2
    for raw in done:
        if raw.sweep.switch_terms is not None:
            np.testing.assert_array_equal(raw.sweep.switch_terms[0], [[0.0, 0.1j], [0.1j, 0.0]])
    # What is stored has them, so the job goes on; a job that was begun without them does not.
    resumed = Counting()
    run_plan(plan, resumed, resumed, store, progress=quiet, wants_switch_terms=joins)
    assert not resumed.swept
    store = Memory()
    run_plan(plan, (bench := Counting()), bench, store, progress=quiet)
    assert all(raw.sweep.switch_terms is None for raw in store.kept.values())
    with pytest.raises(AcquisitionError, match="without the switch terms that are wanted"):
        run_plan(plan, (bench := Counting()), bench, store, progress=quiet, wants_switch_terms=joins)
    assert not bench.swept


def test_only_ports_that_a_standard_joins_have_switch_terms() -> None:
    """Behind tapped baluns a thru joins d with d and c with c: nothing goes from d to c."""
    tapped = {1: "thru 3", 2: "thru 4", 3: "thru 1", 4: "thru 2"}
    cord = {1: "A:12.1", 2: "A:12.2", 3: "check pad A:12.1"}
    plan = Plan((Hookup(1, tapped), Hookup(2, cord)), 0)
    done = run_plan(
        plan, (bench := Counting()), bench, Memory(), progress=quiet, wants_switch_terms=lambda _: True
    )
    found = []
    for raw in done:
        assert raw.sweep.switch_terms is not None
        found.append(np.argwhere(raw.sweep.switch_terms[0] != 0).tolist())
    assert found[0] == [[0, 2], [1, 3], [2, 0], [3, 1]]
    assert found[1] == [[0, 1], [0, 2], [1, 0], [1, 2], [2, 0], [2, 1]]
