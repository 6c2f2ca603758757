"""Repeating, with instruments that follow a script: what is told, in which order, and when it ends."""

from __future__ import annotations

import re
import time
from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pytest

from benchsweep.acquisition import Done, Move, PersonSwitch, make_plan, run_plan
from benchsweep.acquisition import _repeat as module
from benchsweep.errors import (
    BadAnswer,
    InstrumentError,
    InstrumentTimeout,
    InvalidData,
    LinkLost,
    NotSupported,
    PowerCycled,
    ScpiError,
    SettingsChanged,
    StaleData,
    SwitchError,
)
from benchsweep.records import Hookup, RawHookup, RawSweep, balanced_ports

GRID = np.linspace(1e6, 100e6, 3)
PLAN = make_plan([(1, 2), (3, 4), (5, 6), (7, 8)], balanced_ports())
LOST = LinkLost("nobody answers at 192.0.2.10")
PASSING = [
    LinkLost("the connection dropped"),
    InstrumentTimeout("no answer"),
    BadAnswer("half a block"),
    InvalidData("no numbers"),
    StaleData("an old sweep"),
]
ENDING = [
    SettingsChanged("another bandwidth"),
    PowerCycled("switched off and on"),
    ScpiError("-222"),
    NotSupported("no segments"),
    SwitchError("relay 1!3"),
    InstrumentError("something else"),
]
Script = Mapping[tuple[str, int], Sequence[BaseException | None]]


class Scripted:
    """Analyzer and switch in one: notes every call; the script says which calls fail, one after the other.

    The data of a sweep tell what is connected and how many sweeps there were, and every restore is needed to
    make it work again after a failure.
    """

    def __init__(self, script: Script) -> None:
        self.script = {key: list(errors) for key, errors in script.items()}
        self.calls: list[tuple[str, int]] = []
        self.frequency_hz = GRID
        self.number = 0
        self.broken = False

    def _do(self, what: str) -> None:
        self.calls.append((what, self.number))
        waiting = self.script.get((what, self.number))
        error = waiting.pop(0) if waiting else None
        if error is not None:
            self.broken = True
            raise error

    def connect(self, hookup: Hookup, *, total: int) -> Move:
        self.number = hookup.number
        assert not self.broken
        self._do("connect")
        return Done()

    def sweep(self, ports: Sequence[int], *, switch_terms: Collection[tuple[int, int]] = ()) -> RawSweep:
        assert not self.broken
        self._do("sweep")
        s = np.full((3, len(ports), len(ports)), self.number + 1j)
        return RawSweep(GRID, s, tuple(ports), "2026-01-01T00:00:00+00:00", 0.1)

    def confirm(self, hookup: Hookup) -> None:
        assert hookup.number == self.number
        self._do("confirm")

    def finished(self, *, total: int) -> Move:
        return Done()


class Analyzer(Scripted):
    def restore(self) -> None:
        self._do("restore")
        self.broken = False


class TheSwitch:
    """The switch side of `Analyzer`: `restore` of a switch has another signature."""

    def __init__(self, bench: Analyzer) -> None:
        self.bench = bench
        self.connect = bench.connect
        self.confirm = bench.confirm
        self.finished = bench.finished

    def restore(self, hookup: Hookup) -> None:
        assert hookup.number == self.bench.number
        self.bench._do("switch.restore")


class Store:
    def __init__(self) -> None:
        self.kept: dict[int, RawHookup] = {}

    def finished(self) -> Mapping[int, RawHookup]:
        return dict(self.kept)

    def save(self, raw: RawHookup) -> None:
        self.kept[raw.hookup.number] = raw


class Outcome:
    def __init__(self, script: Script, *, wait_for_link_s: float = 5.0, retries: int = 2) -> None:
        self.bench = Analyzer(script)
        self.store = Store()
        self.incidents: list[str] = []
        self.progress: list[str] = []
        self.error: BaseException | None = None
        try:
            run_plan(
                PLAN,
                self.bench,
                TheSwitch(self.bench),
                self.store,
                progress=self.progress.append,
                incident=self.incidents.append,
                retries=retries,
                wait_for_link_s=wait_for_link_s,
            )
        except InstrumentError as error:
            self.error = error

    def calls(self, number: int) -> list[str]:
        return [what for what, at in self.bench.calls if at == number]


@pytest.fixture(autouse=True)
def short_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_SHORTEST_PAUSE_S", 0.001)


UNDISTURBED = ["connect", "sweep", "confirm"]


def test_undisturbed_there_is_nothing_to_tell() -> None:
    outcome = Outcome({})
    assert outcome.error is None
    assert outcome.incidents == []
    assert all(outcome.calls(number) == UNDISTURBED for number in range(1, 7))


@pytest.mark.parametrize("error", PASSING, ids=lambda e: type(e).__name__)
def test_a_passing_error_repeats_that_hookup_from_its_start(error: InstrumentError) -> None:
    outcome = Outcome({("sweep", 3): [error]})
    assert outcome.error is None
    assert sorted(outcome.store.kept) == [1, 2, 3, 4, 5, 6]
    assert outcome.calls(3) == ["connect", "sweep", "restore", "switch.restore", "sweep", "confirm"]
    assert all(outcome.calls(number) == UNDISTURBED for number in (1, 2, 4, 5, 6))
    (incident,) = outcome.incidents
    for part in (
        "hookup 3 of 6 (A:12, A:78, B:12, B:78)",
        error.message,
        "repeated on a fresh link (repeat 1 of 2)",
        "+00:00",
    ):
        assert part in incident
    assert incident in outcome.progress
    assert any("opening the link again, for up to 5 s" in line for line in outcome.progress)


@pytest.mark.parametrize("error", ENDING, ids=lambda e: type(e).__name__)
@pytest.mark.parametrize("where", ["connect", "sweep", "confirm"])
def test_other_errors_end_the_run_with_what_was_finished(error: InstrumentError, where: str) -> None:
    outcome = Outcome({(where, 3): [error]})
    assert outcome.error is error
    assert error.exit_code == 4
    assert sorted(outcome.store.kept) == [1, 2]
    assert outcome.incidents == []
    assert "restore" not in outcome.calls(3)


@pytest.mark.parametrize(
    ("where", "error", "told"),
    [
        (
            "sweep",
            "TCPIP::192.0.2.1::5025::SOCKET: reading: lost (gone)",
            "analyzer: reading: lost (gone); the",
        ),
        (
            "connect",
            "TCPIP::a::9::SOCKET: connecting hookup 3 of 6 on the bench: lost",
            "switch: the bench: lost;",
        ),
        ("confirm", "hookup 3: nobody answers", "switch: nobody answers; the whole sweep"),
    ],
)
def test_an_incident_says_nothing_twice(where: str, error: str, told: str) -> None:
    (incident,) = Outcome({(where, 3): [LinkLost(error)]}).incidents
    assert f"hookup 3 of 6 (A:12, A:78, B:12, B:78): {told}" in incident
    assert incident.count("hookup") == 1
    assert "TCPIP" not in incident
    assert len(re.findall(r"\d\d:\d\d:\d\d", incident)) == 1
    assert " s " not in incident


def test_a_switch_that_loses_its_link_is_connected_again() -> None:
    outcome = Outcome({("connect", 2): [LOST]})
    assert outcome.error is None
    assert outcome.calls(2) == ["connect", "restore", "switch.restore", *UNDISTURBED]
    assert len(outcome.incidents) == 1


def test_a_sweep_whose_connections_cannot_be_confirmed_is_not_kept() -> None:
    outcome = Outcome({("confirm", 4): [LOST]})
    assert outcome.error is None
    assert outcome.calls(4) == [
        "connect",
        "sweep",
        "confirm",
        "restore",
        "switch.restore",
        "sweep",
        "confirm",
    ]


def test_no_more_than_the_repeats_that_are_allowed() -> None:
    errors = [LinkLost("first"), BadAnswer("second"), StaleData("third")]
    outcome = Outcome({("sweep", 2): errors})
    assert outcome.error is errors[2]
    assert outcome.calls(2).count("sweep") == 3
    assert ["repeat 1 of 2" in outcome.incidents[0], "repeat 2 of 2" in outcome.incidents[1]] == [True, True]
    assert sorted(outcome.store.kept) == [1]
    never = Outcome({("sweep", 2): [LOST]}, retries=0)
    assert never.error is LOST
    assert never.calls(2) == ["connect", "sweep"]


def test_the_count_begins_anew_with_each_hookup() -> None:
    outcome = Outcome({("sweep", number): [LOST, LOST] for number in range(1, 7)})
    assert outcome.error is None
    assert len(outcome.incidents) == 12


def test_nobody_answers_for_a_while() -> None:
    outcome = Outcome(
        {("sweep", 5): [LOST], ("restore", 5): [LOST, InstrumentTimeout("still starting"), LOST, LOST]}
    )
    assert outcome.error is None
    assert outcome.calls(5).count("restore") == 5
    assert len(outcome.incidents) == 1
    assert outcome.calls(5)[-2:] == ["sweep", "confirm"]


def test_the_switch_may_stay_away_too() -> None:
    outcome = Outcome({("sweep", 5): [LOST], ("switch.restore", 5): [LOST, LOST]})
    assert outcome.error is None
    assert outcome.calls(5).count("switch.restore") == 3


def test_nobody_answers_for_too_long() -> None:
    gone = [LinkLost(f"attempt {n}") for n in range(10_000)]
    started = time.monotonic()
    outcome = Outcome({("sweep", 2): [LOST], ("restore", 2): gone}, wait_for_link_s=0.3)
    assert 0.3 <= time.monotonic() - started < 8.0
    assert isinstance(outcome.error, LinkLost)
    assert outcome.error.message.startswith("attempt")
    assert re.search(r"; given up after \d\.\d+ s$", str(outcome.error))
    assert sorted(outcome.store.kept) == [1]
    assert outcome.incidents == []
    once = Outcome({("sweep", 2): [LOST], ("restore", 2): gone[:1]}, wait_for_link_s=0.0)
    assert once.error is gone[0]
    assert once.calls(2).count("restore") == 1


@pytest.mark.parametrize("error", ENDING, ids=lambda e: type(e).__name__)
def test_another_analyzer_or_a_power_cycle_found_on_return_ends_the_run(error: InstrumentError) -> None:
    outcome = Outcome({("sweep", 2): [LOST], ("restore", 2): [LOST, error]})
    assert outcome.error is error
    assert outcome.calls(2) == ["connect", "sweep", "restore", "restore"]


def test_an_interrupt_is_never_repeated() -> None:
    with pytest.raises(KeyboardInterrupt):
        Outcome({("sweep", 2): [KeyboardInterrupt()]})
    with pytest.raises(KeyboardInterrupt):
        Outcome({("sweep", 2): [LOST], ("restore", 2): [KeyboardInterrupt()]})


def test_a_person_is_not_asked_again_for_connections_that_stand() -> None:
    bench = Analyzer({("sweep", 0): [LOST]})
    words: list[str] = []

    def enter(text: str) -> str:
        words.append(text)
        return ""

    plan = make_plan([(1, 2), (3, 4)], balanced_ports()[:2])
    incidents: list[str] = []
    done = run_plan(
        plan, bench, PersonSwitch(enter), Store(), progress=lambda _: None, incident=incidents.append
    )
    assert len(done) == len(words) == len(incidents) == 1
    assert [what for what, _ in bench.calls] == ["sweep", "restore", "sweep"]
