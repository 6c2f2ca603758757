"""A relay matrix as the switch, and its map: with a matrix of the test that does what relays do."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import combinations

import pytest

from benchsweep.acquisition import (
    Back,
    Done,
    PersonSwitch,
    RelayRoutes,
    RelaySwitch,
    make_calibration_plan,
    make_plan,
)
from benchsweep.errors import DefinitionError, LinkLost, ScpiError, SwitchError
from benchsweep.records import Hookup, balanced_ports

LEGS = [str(leg) for port in balanced_ports() for leg in port.legs]
COLUMNS = {leg: str(column) for column, leg in enumerate(LEGS, start=1)} | {
    "open": "17",
    "short": "18",
    "load": "19",
}
ROUTES = RelayRoutes("{port}!{column}", COLUMNS, ("20", "21"))
SLOTS = [(1, 2), (3, 4)]
SPECIMEN = make_plan(SLOTS, balanced_ports()).hookups
STANDARDS = make_calibration_plan((1, 2, 3, 4), one_at_a_time=True).hookups
BY_HAND = make_calibration_plan((1, 2, 3, 4)).hookups
PLACES = dict(SPECIMEN[0].connections)


class FakeMatrix:
    """Relays; notes what was done. `closed_now` survives the link, as iron does."""

    def __init__(self, relays: set[str], notes: list[str], idn: str = "works,matrix,1,2") -> None:
        self.idn = idn
        self.relays = relays
        self.notes = notes
        self.fails: list[BaseException] = []
        self.up = True

    def _use(self) -> None:
        assert self.up
        if self.fails:
            raise self.fails.pop(0)

    def open_all(self) -> None:
        self._use()
        self.notes.append("open all")
        self.relays.clear()

    def closed(self, channels: Sequence[str]) -> dict[str, bool]:
        self._use()
        return {channel: channel in self.relays for channel in channels}

    def set_closed(self, channels: Sequence[str], *, among: Sequence[str], settle_s: float) -> None:
        self._use()
        assert set(channels) <= set(among)
        assert settle_s == 0.02
        self.relays -= set(among)
        self.relays |= set(channels)
        self.notes.append("set")

    def disconnect(self) -> None:
        self.up = False
        self.notes.append("disconnect")


class Bench:
    def __init__(self, routes: RelayRoutes = ROUTES, standards: PersonSwitch | None = None) -> None:
        self.relays: set[str] = {"9!99"}  # left closed by somebody else
        self.notes: list[str] = []
        self.matrices: list[FakeMatrix] = []
        self.idn = "works,matrix,1,2"
        self.switch = RelaySwitch(
            self.open, routes, ports=(1, 2, 3, 4), settle_s=0.02, standards=standards, places=PLACES
        )

    def open(self) -> FakeMatrix:
        self.matrices.append(FakeMatrix(self.relays, self.notes, self.idn))
        return self.matrices[-1]


class TestRoutes:
    def test_a_specimen_and_standards(self) -> None:
        assert ROUTES.closed({1: "A:12.1", 2: "A:12.2", 3: "B:78.7"}) == ("1!1", "2!2", "3!15")
        assert ROUTES.closed({3: "load"}) == ("3!19",)

    def test_one_standard_cannot_hang_on_two_ports(self) -> None:
        """Closed on one column they would be joined, and each would see the other besides the standard."""
        with pytest.raises(DefinitionError, match="ports 1 and 2 cannot both be led to the one load"):
            ROUTES.closed(dict.fromkeys((1, 2), "load"))
        own = RelayRoutes(explicit={(1, "load"): ("1!19",), (2, "load"): ("2!29",)})
        assert own.closed(dict.fromkeys((1, 2), "load")) == ("1!19", "2!29")

    def test_a_thru_is_both_ports_on_one_rail_and_two_thrus_use_two(self) -> None:
        assert ROUTES.closed({1: "thru 3", 3: "thru 1"}) == ("1!20", "3!20")
        two = ROUTES.closed({1: "thru 3", 2: "thru 4", 3: "thru 1", 4: "thru 2"})
        assert two == ("1!20", "2!21", "3!20", "4!21")

    def test_filled_with_zeros(self) -> None:
        packed = RelayRoutes("1{port:02}{column:02}", {"A:12.1": "7"})
        assert packed.closed({3: "A:12.1"}) == ("10307",)

    def test_a_way_of_its_own_wins(self) -> None:
        routes = RelayRoutes("{port}!{column}", COLUMNS, ("20",), {(3, "B:78.7"): ("3!22", "9!1")})
        assert routes.closed({3: "B:78.7"}) == ("3!22", "9!1")
        assert routes.closed({1: "B:78.7"}) == ("1!15",)
        assert {"3!22", "9!1"} <= set(routes.every((1, 2)))

    def test_a_channel_is_told_by_its_ways(self) -> None:
        routes = RelayRoutes(
            "{port}!{column}", COLUMNS, ("20",), {(3, "B:78.7"): ("3!22", "9!1")}, {"A:12.1": ("5!1",)}
        )
        assert routes.ways(["1!1", "2!20", "9!1", "5!1"], (1, 2, 3)) == (
            "port 1 to A:12.1",
            "port 2 to thru rail 20",
            "port 3 to B:78.7",
            "A:12.1 at rest",
        )
        assert routes.ways(["77!77"], (1, 2, 3)) == ()

    def test_idle_legs_rest_until_they_are_reached(self) -> None:
        routes = RelayRoutes("{port}!{column}", COLUMNS, (), {}, {"A:12.1": ("5!1",), "A:12.2": ("5!2",)})
        assert routes.closed({1: "A:12.1"}) == ("1!1", "5!2")
        assert set(routes.closed({1: "open"})) == {"1!17", "5!1", "5!2"}

    def test_no_two_hookups_of_the_plans_close_the_same(self) -> None:
        closed = [frozenset(ROUTES.closed(hookup.connections)) for hookup in (*SPECIMEN, *STANDARDS)]
        assert len(closed) == 28 + 15
        assert all(one != other for one, other in combinations(closed, 2))

    def test_what_is_missing_is_named(self) -> None:
        ROUTES.check((*SPECIMEN, *STANDARDS), where="station x")
        less = {leg: column for leg, column in COLUMNS.items() if leg not in ("B:45.4", "load")}
        with pytest.raises(DefinitionError, match=r"station x: \[switch\]: no way from") as caught:
            RelayRoutes("{port}!{column}", less, ("20",)).check((*SPECIMEN, *STANDARDS), where="station x")
        assert "to B:45.4" in caught.value.message
        assert "analyzer port 1 to load" in caught.value.message
        assert "[switch.columns]" in caught.value.hint
        with pytest.raises(DefinitionError, match="to thru 2"):
            RelayRoutes("{port}!{column}", COLUMNS).check(STANDARDS, where="station x")
        RelayRoutes("{port}!{column}", COLUMNS).check(SPECIMEN, where="station x")
        with pytest.raises(DefinitionError, match="no way from analyzer port 1 to nowhere"):
            ROUTES.closed({1: "nowhere"})

    def test_two_connections_that_close_the_same_are_refused(self) -> None:
        same = RelayRoutes("{port}!{column}", COLUMNS, ("20",), {(1, "A:12.1"): ("1!19",)})
        with pytest.raises(
            DefinitionError, match=r"analyzer port 1 to load .* A:12.1 close the same relays \(1!19\)"
        ):
            same.check((*SPECIMEN, *STANDARDS), where="s")

    def test_the_digest_tells_maps_apart_and_not_spellings(self) -> None:
        needed = (*SPECIMEN, *STANDARDS)
        spelled_out = RelayRoutes(
            explicit={
                (port, target): ROUTES.route(port, target) or ()
                for hookup in needed
                for port, target in hookup.connections.items()
            }
        )
        assert spelled_out.digest(needed) == ROUTES.digest(needed)
        turned = COLUMNS | {"A:12.1": "2", "A:12.2": "1"}
        other = [
            RelayRoutes("{port}!{column}", turned, ("20", "21")),
            RelayRoutes("{port}!{column}", COLUMNS, ("21", "20")),
            RelayRoutes("{column}!{port}", COLUMNS, ("20", "21")),
            RelayRoutes("{port}!{column}", COLUMNS, ("20", "21"), {}, {"A:12.1": ("5!1",)}),
        ]
        assert len({ROUTES.digest(needed), *(routes.digest(needed) for routes in other)}) == 5


class TestWiredStandards:
    def test_only_what_the_hookup_wants_is_closed(self) -> None:
        bench = Bench()
        for hookup in (*STANDARDS, *SPECIMEN):
            assert bench.switch.connect(hookup, total=34) == Done()
            assert bench.relays == set(ROUTES.closed(hookup.connections))
            bench.switch.confirm(hookup)
        assert len(bench.matrices) == 1
        assert bench.notes[:2] == ["open all", "set"]  # what somebody else left closed is opened first
        assert bench.switch.finished(total=34) == Done()

    def test_a_relay_that_moves_during_the_sweep_is_found(self) -> None:
        bench = Bench()
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.relays.clear()
        with pytest.raises(SwitchError, match=r"relay 1!1, 2!2, 3!3, 4!4 moved while the analyzer") as caught:
            bench.switch.confirm(SPECIMEN[0])
        assert not caught.value.passing
        assert caught.value.message.startswith(
            "hookup 1 (port 1 to A:12.1, port 2 to A:12.2, port 3 to A:36.3, port 4 to A:36.6): relay"
        )
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.relays.add("2!17")
        with pytest.raises(SwitchError, match="2!17"):
            bench.switch.confirm(SPECIMEN[0])

    def test_many_relays_are_cut_after_eight(self) -> None:
        bench = Bench()
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.relays.clear()
        bench.relays |= set(bench.switch._every)
        with pytest.raises(SwitchError) as caught:
            bench.switch.confirm(SPECIMEN[0])
        ways, _, relays = caught.value.message.partition("): relay ")
        for listed in (ways, relays):
            assert listed.count(",") == 7
            assert re.search(r" and \d+ more", listed)

    def test_a_relay_that_does_not_obey_is_told_with_hookup_and_way(self) -> None:
        bench = Bench()
        assert bench.switch.idn
        stuck = SwitchError("a: relay 1!20 told to open, read back closed", channels=("1!20",), hint="Worn.")
        stuck.messages = ("one",)
        bench.matrices[0].fails = [stuck]
        with pytest.raises(SwitchError) as caught:
            bench.switch.connect(SPECIMEN[1], total=28)
        assert caught.value.message == (
            "hookup 2 (port 1 to thru rail 20): a: relay 1!20 told to open, read back closed"
        )
        assert caught.value.hint == (
            "Worn. With this hookup nothing was swept; what was swept before is kept."
        )
        assert caught.value.messages == ("one",)

    @pytest.mark.parametrize("call", ["connect", "confirm"])
    def test_a_lost_link_is_opened_anew(self, call: str) -> None:
        bench = Bench()
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.matrices[0].fails = [LinkLost("gone")]
        failing = {
            "connect": lambda: bench.switch.connect(SPECIMEN[1], total=28),
            "confirm": lambda: bench.switch.confirm(SPECIMEN[0]),
        }
        with pytest.raises(LinkLost):
            failing[call]()
        assert not bench.matrices[0].up
        bench.relays.clear()  # its power failed too
        bench.switch.restore(SPECIMEN[1])
        assert len(bench.matrices) == 2
        assert bench.relays == set(ROUTES.closed(SPECIMEN[1].connections))
        bench.switch.confirm(SPECIMEN[1])

    def test_an_error_of_the_matrix_keeps_the_link(self) -> None:
        bench = Bench()
        assert bench.switch.idn == "works,matrix,1,2"
        bench.matrices[0].fails = [ScpiError("no such relay")]
        with pytest.raises(ScpiError):
            bench.switch.connect(SPECIMEN[0], total=28)
        assert bench.matrices[0].up

    def test_another_matrix_on_return(self) -> None:
        bench = Bench()
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.matrices[0].fails = [LinkLost("gone")]
        with pytest.raises(LinkLost):
            bench.switch.confirm(SPECIMEN[0])
        bench.idn = "works,matrix,7,2"
        bench.notes.clear()
        with pytest.raises(SwitchError, match="now 'works,matrix,7,2' answers"):
            bench.switch.restore(SPECIMEN[0])
        assert bench.notes == ["disconnect"]  # and none of its relays moved

    def test_closed_twice(self) -> None:
        bench = Bench()
        bench.switch.close()
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.switch.close()
        bench.switch.close()
        assert bench.notes.count("disconnect") == 1
        with pytest.raises(SwitchError, match="closed"):
            bench.switch.confirm(SPECIMEN[0])


class TestStandardsByHand:
    def bench(self, *lines: str) -> tuple[Bench, list[str], list[set[str]]]:
        words: list[str] = []
        closed: list[set[str]] = []
        answers = iter(lines)

        def prompt(text: str) -> str:
            words.append(text)
            closed.append(set(made.relays))
            return next(answers, "")

        made = Bench(standards=PersonSwitch(prompt, note="Put them at the legs."))
        return made, words, closed

    def test_the_relays_lead_to_the_place_before_the_person_is_asked(self) -> None:
        bench, words, closed = self.bench()
        for hookup in BY_HAND:
            assert bench.switch.connect(hookup, total=6) == Done()
            bench.switch.confirm(hookup)
        assert len(words) == 6
        assert all(relays == {"1!1", "2!2", "3!3", "4!4"} for relays in closed[:3])
        assert closed[3:] == [{"1!1", "2!2"}, {"1!1", "3!3"}, {"1!1", "4!4"}]
        assert words[0].endswith("Put them at the legs.")
        assert "legs" not in words[1]
        assert bench.switch.finished(total=6) == Done()
        assert words[-1] == "All 6 hookups are swept."

    def test_the_specimen_is_asked_for_once_after_them(self) -> None:
        bench, words, _ = self.bench()
        bench.switch.connect(BY_HAND[0], total=6)
        bench.switch.connect(SPECIMEN[0], total=28)
        bench.switch.connect(SPECIMEN[1], total=28)
        assert words[1:] == ["Take every standard off, and put the specimen in its place."]
        assert bench.switch.finished(total=28) == Done()
        assert len(words) == 2

    def test_who_types_something_else_hears_what_is_expected(self) -> None:
        bench, words, _ = self.bench("", "what?", "")
        bench.switch.connect(BY_HAND[0], total=6)
        bench.switch.connect(SPECIMEN[0], total=28)
        assert words[2].endswith("Press Enter alone when that is done, or type stop to end here.")
        assert len(words) == 3

    def test_the_person_may_go_back(self) -> None:
        bench, _, _ = self.bench("", "back 1")
        bench.switch.connect(BY_HAND[0], total=6)
        assert bench.switch.connect(BY_HAND[1], total=6) == Back(1)

    def test_a_link_that_is_lost_does_not_move_the_standards(self) -> None:
        bench, words, _ = self.bench()
        bench.switch.connect(BY_HAND[1], total=6)
        bench.switch.restore(BY_HAND[1])
        assert len(words) == 1
        assert bench.relays == {"1!1", "2!2", "3!3", "4!4"}


def test_a_hookup_of_unknown_target_moves_nothing() -> None:
    bench = Bench()
    with pytest.raises(DefinitionError):
        bench.switch.connect(Hookup(1, {1: "A:12.1", 2: "nowhere"}), total=1)
    assert bench.matrices == []
