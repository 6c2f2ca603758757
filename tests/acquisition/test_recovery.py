"""Recovering on the simulated bench over real links: what is measured equals the undisturbed run."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

import numpy as np
import pytest

from benchsweep.acquisition import (
    Done,
    RelayRoutes,
    RelaySwitch,
    SimulatedSwitch,
    Switch,
    make_calibration_plan,
    make_plan,
    run_plan,
)
from benchsweep.errors import (
    InstrumentError,
    LinkLost,
    PowerCycled,
    ScpiError,
    SettingsChanged,
    SwitchError,
)
from benchsweep.instrument import Analyzer, open_analyzer, open_link, open_relays
from benchsweep.records import Hookup, Plan, RawHookup, SweepSettings, balanced_ports
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

SETTINGS = SweepSettings(1e6, 100e6, 5, if_bandwidth_hz=10e3)
PLAN = make_plan([(1, 2), (3, 4)], balanced_ports()[:4])  # six hookups
PAIRS = ("12", "12", "36", "45", "45", "36", "78", "78")  # of contacts 1 to 8
LEGS = [f"{end}:{pair}.{contact}" for end in "AB" for contact, pair in enumerate(PAIRS, start=1)]
ROUTES = RelayRoutes(
    "{port}!{column}",
    {leg: str(column) for column, leg in enumerate(LEGS, start=1)}
    | {"open": "17", "short": "18", "load": "19"},
    ("20", "21"),
)


class Store:
    def __init__(self) -> None:
        self.kept: dict[int, RawHookup] = {}

    def finished(self) -> Mapping[int, RawHookup]:
        return dict(self.kept)

    def save(self, raw: RawHookup) -> None:
        self.kept[raw.hookup.number] = raw


@dataclass
class Ran:
    done: tuple[RawHookup, ...]
    store: Store
    incidents: list[str]
    error: BaseException | None


@contextmanager
def benches(
    *, relays: bool = False, timeout_s: float = 20.0
) -> Iterator[tuple[RunningBench, Analyzer, Switch]]:
    with running_bench(BenchOptions(ports=4, noiseless=True, relays=relays)) as bench:
        with open_analyzer(bench.address, timeout_s=timeout_s) as analyzer:
            analyzer.configure(SETTINGS, range(1, 5))
            if not relays:
                yield bench, analyzer, SimulatedSwitch(lambda: analyzer.link)
                return
            switch = RelaySwitch(
                lambda: open_relays(bench.addresses["relays"], timeout_s=timeout_s),
                ROUTES,
                ports=(1, 2, 3, 4),
                settle_s=0.0,
            )
            try:
                yield bench, analyzer, switch
            finally:
                switch.close()


class Sabotage:
    """A switch that arms a fault of the bench, over a link of its own, before one of the hookups."""

    def __init__(self, switch: Switch, address: str, number: int, fault: str) -> None:
        self._switch, self._address, self._number, self._fault = switch, address, number, fault
        self.restore, self.confirm, self.finished = switch.restore, switch.confirm, switch.finished

    def connect(self, hookup: Hookup, *, total: int) -> object:
        if hookup.number == self._number:
            self._number = -1
            with open_link(self._address) as link:
                link.write_checked(f"BENCh:FAULt {self._fault}", doing="arming a fault")
        return self._switch.connect(hookup, total=total)


def run(
    analyzer: Analyzer, switch: object, plan: Plan = PLAN, *, wait_for_link_s: float = 10.0, retries: int = 2
) -> Ran:
    store, incidents = Store(), []
    done: tuple[RawHookup, ...] = ()
    error = None
    try:
        done = run_plan(
            plan,
            analyzer,
            switch,  # type: ignore[arg-type]
            store,
            progress=lambda _: None,
            incident=incidents.append,
            retries=retries,
            wait_for_link_s=wait_for_link_s,
        )
    except InstrumentError as caught:
        error = caught
    return Ran(done, store, incidents, error)


def same(one: Sequence[RawHookup], other: Sequence[RawHookup]) -> bool:
    return [raw.sweep.s.tobytes() for raw in one] == [raw.sweep.s.tobytes() for raw in other]


@pytest.fixture(scope="module")
def undisturbed() -> tuple[RawHookup, ...]:
    with benches() as (_, analyzer, switch):
        ran = run(analyzer, switch)
    assert ran.error is None
    assert ran.incidents == []
    assert len({raw.sweep.s.tobytes() for raw in ran.done}) == 6
    return ran.done


# 0 is the first message that the switch sends; the later ones fall into the settings, the sweep, the readout.
@pytest.mark.parametrize("after", [0, 1, 2, 3, 4, 6, 8, 10, 12, 15, 20])
def test_a_link_that_drops_anywhere_in_a_hookup(after: int, undisturbed: tuple[RawHookup, ...]) -> None:
    with benches() as (bench, analyzer, switch):
        ran = run(analyzer, Sabotage(switch, bench.address, 3, f'"drop-link",{after}'))
    assert ran.error is None
    assert same(ran.done, undisturbed)
    assert len(ran.incidents) == 1
    assert "of 6 (" in ran.incidents[0]
    assert "the whole sweep was repeated" in ran.incidents[0]


@pytest.mark.parametrize(
    "fault",
    ["truncate-block", "wrong-count", "garbage-before-block", "invalid-points", "overload"],
)
def test_other_passing_faults(fault: str, undisturbed: tuple[RawHookup, ...]) -> None:
    # Half a block costs one time-out.
    with benches(timeout_s=2.0 if fault == "truncate-block" else 20.0) as (bench, analyzer, switch):
        ran = run(analyzer, Sabotage(switch, bench.address, 2, f'"{fault}"'))
    assert ran.error is None
    assert same(ran.done, undisturbed)
    assert [incident.split(" ")[1:5] for incident in ran.incidents] == [["hookup", "2", "of", "6"]]


@pytest.mark.parametrize(
    ("fault", "expected"),
    [("front-panel", SettingsChanged), ("power-cycle", PowerCycled), ("instrument-error", ScpiError)],
)
def test_faults_that_end_the_run(
    fault: str, expected: type[InstrumentError], undisturbed: tuple[RawHookup, ...]
) -> None:
    with benches() as (bench, analyzer, switch):
        ran = run(analyzer, Sabotage(switch, bench.address, 4, f'"{fault}",1'))
        assert type(ran.error) is expected
        assert ran.error.exit_code == 4
        assert sorted(ran.store.kept) == [1, 2, 3]
        assert same(list(ran.store.kept.values()), undisturbed[:3])
        assert ran.error.messages


@pytest.mark.parametrize(("late_s", "timeout_s", "repeats"), [(0.6, 20.0, 0), (2.5, 1.5, 1)])
def test_only_an_answer_later_than_the_time_out_needs_a_repeat(
    late_s: float, timeout_s: float, repeats: int, undisturbed: tuple[RawHookup, ...]
) -> None:
    with benches(timeout_s=timeout_s) as (bench, analyzer, switch):
        ran = run(analyzer, Sabotage(switch, bench.address, 2, f'"late-answer",0,{late_s}'))
        assert analyzer.link.query("BENCh:FAULt?").strip('"') == "none"
    assert ran.error is None
    assert same(ran.done, undisturbed)
    assert len(ran.incidents) == repeats


def test_a_bench_that_stays_away() -> None:
    """The server goes for good while the plan runs."""
    with ExitStack() as stack:
        bench = stack.enter_context(running_bench(BenchOptions(ports=4, noiseless=True)))
        with open_analyzer(bench.address) as analyzer:
            analyzer.configure(SETTINGS, range(1, 5))

            class Leaving(SimulatedSwitch):
                def connect(self, hookup: Hookup, *, total: int) -> Done:
                    if hookup.number == 3:
                        stack.close()
                    return super().connect(hookup, total=total)

            started = time.monotonic()
            ran = run(analyzer, Leaving(lambda: analyzer.link), wait_for_link_s=0.5)
    assert isinstance(ran.error, LinkLost)
    assert 0.5 <= time.monotonic() - started < 15.0
    assert sorted(ran.store.kept) == [1, 2]


class TestRelays:
    def test_the_same_as_without_relays(self, undisturbed: tuple[RawHookup, ...]) -> None:
        """All paths of the simulated matrix are equal: who connects makes no difference to the last bit."""
        with benches(relays=True) as (_, analyzer, switch):
            ran = run(analyzer, switch)
        assert same(ran.done, undisturbed)

    def test_standards_through_the_relays(self) -> None:
        """One open, short and load serve one port after the other; what each port sees is the same."""
        with benches() as (_, analyzer, switch):
            direct = run(analyzer, switch, make_calibration_plan((1, 2, 3, 4)))
        with benches(relays=True) as (_, analyzer, switch):
            through = run(analyzer, switch, make_calibration_plan((1, 2, 3, 4), one_at_a_time=True))
        assert (len(direct.done), len(through.done)) == (3 + 3, 12 + 3)
        for number, raw in enumerate(through.done[:12]):
            port = number % 4
            (only,) = raw.hookup.analyzer_ports
            assert only == port + 1
            together = direct.done[number // 4]
            assert set(together.hookup.connections.values()) == set(raw.hookup.connections.values())
            assert np.array_equal(together.sweep.s[:, port, port], raw.sweep.s[:, 0, 0])
        assert same(direct.done[3:], through.done[12:])

    @pytest.mark.parametrize("after", [0, 2, 4, 8])
    @pytest.mark.parametrize("which", ["relays", "analyzer"])
    def test_either_link_may_drop(self, which: str, after: int, undisturbed: tuple[RawHookup, ...]) -> None:
        with benches(relays=True) as (bench, analyzer, switch):
            ran = run(analyzer, Sabotage(switch, bench.addresses[which], 3, f'"drop-link",{after}'))
        assert ran.error is None
        assert same(ran.done, undisturbed)
        assert len(ran.incidents) == 1

    @pytest.mark.parametrize("fault", ["relay-stuck-open", "relay-stuck-closed"])
    def test_a_relay_that_sticks_ends_the_run(self, fault: str) -> None:
        with benches(relays=True) as (bench, analyzer, switch):
            ran = run(analyzer, Sabotage(switch, bench.addresses["relays"], 3, f'"{fault}"'))
        assert type(ran.error) is SwitchError
        assert sorted(ran.store.kept) == [1, 2]
        assert ran.error.messages
