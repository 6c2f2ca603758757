"""What a person is told, and what the answers of a person mean."""

from __future__ import annotations

import re
import time
from collections.abc import Collection, Iterable, Mapping, Sequence

import numpy as np
import pytest

from benchsweep.acquisition import (
    Again,
    Back,
    Done,
    Move,
    PersonSwitch,
    make_calibration_plan,
    make_plan,
    run_plan,
)
from benchsweep.records import Hookup, Plan, RawHookup, RawSweep, balanced_ports

SLOTS = [(1, 2), (3, 4)]
PLAN = make_plan(SLOTS, balanced_ports())


class Typing:
    """A person who types the given lines, then Enter for ever."""

    def __init__(self, lines: Iterable[str] = ()) -> None:
        self.words: list[str] = []
        self._lines = iter(lines)

    def __call__(self, words: str) -> str:
        self.words.append(words)
        return next(self._lines, "")


def told(*hookups: Hookup) -> list[str]:
    typing = Typing()
    switch = PersonSwitch(typing)
    for hookup in hookups:
        assert switch.connect(hookup, total=7) == Done()
    return typing.words


class TestPerson:
    def test_the_first_hookup_says_all_and_warns(self) -> None:
        (first,) = told(make_plan([(1, 2), (3, 4)], balanced_ports()).hookups[0])
        assert first.splitlines()[0] == "Hookup 1 of 7"
        assert "no voltage" in first
        assert "1. Take everything off the analyzer ports." in first
        assert "analyzer port 1 to contact 1 and analyzer port 2 to contact 2 of A:12 (end A)" in first
        assert "analyzer port 3 to contact 3 and analyzer port 4 to contact 6 of A:36 (end A)" in first
        assert "carries its termination" in first

    def test_later_only_what_moves(self) -> None:
        plan = make_plan([(1, 2), (3, 4)], balanced_ports())
        second = told(*plan.hookups[:2])[1]
        assert second.splitlines() == [
            "Hookup 2 of 7",
            "  1. Take analyzer ports 3 and 4 off A:36 and put the terminations on A:36.",
            "  2. Attach analyzer port 3 to contact 4 and analyzer port 4 to contact 5 of A:45 (end A), in "
            "place of the terminations there.",
            "  3. Every contact of the specimen without an analyzer port carries its termination.",
        ]

    def test_every_hookup_moves_one_port_of_the_28(self) -> None:
        words = told(*make_plan([(1, 2), (3, 4)], balanced_ports()).hookups)
        assert all(text.count("Attach") == 1 and text.count("Take") == 1 for text in words[1:])

    def test_calibration(self) -> None:
        words = told(*make_calibration_plan((1, 2, 3, 5)).hookups)
        assert words[0].splitlines()[1:] == [
            "  1. Take everything off the analyzer ports.",
            "  2. Put the open standard on analyzer ports 1 to 3 and 5.",
        ]
        assert words[1].splitlines()[1:] == [
            "  1. Take the open standard off analyzer ports 1 to 3 and 5.",
            "  2. Put the short standard on analyzer ports 1 to 3 and 5.",
        ]
        assert words[3].splitlines()[2] == "  2. Connect analyzer ports 1 and 2 with the thru."
        assert words[4].splitlines()[1:] == [
            "  1. Move the end of the thru from port 2 to port 3; its other end stays on port 1."
        ]

    def test_calibration_behind_tapped_baluns(self) -> None:
        words = told(
            *make_calibration_plan((1, 2, 3, 4), two_port=("thru", "exchange"), taps={1: 2, 3: 4}).hookups
        )
        assert words[3].splitlines()[2] == (
            "  2. Join the balanced terminals of analyzer ports 1 to 4 by the thru."
        )
        assert words[4].splitlines()[1:] == [
            "  1. Take the thru off analyzer ports 1 to 4.",
            "  2. Put the exchange standard (one leg short, one leg open) on the balun of analyzer ports 1 "
            "and 2.",
        ]

    def test_baluns_and_named_terminators(self) -> None:
        plan = make_plan([(1,), (2,)], balanced_ports(), baluns=True, terminators=tuple("abcdef"))
        first = told(plan.hookups[0])[0].splitlines()
        assert first[3] == (
            "  2. Attach the balun of analyzer port 1 to A:12 (end A), in place of the terminations there."
        )
        assert first[-1] == (
            "  4. Put or leave these terminators: a on A:45, b on A:78, c on B:12, d on B:36, e on B:45, "
            "f on B:78."
        )

    def test_check_standards(self) -> None:
        words = told(Hookup(1, {1: "check pad A:12.1", 2: "check pad A:12.2"}))[0].splitlines()
        assert words[2] == (
            "  2. Attach the check standard pad: analyzer port 1 to A:12.1 and analyzer port 2 to A:12.2."
        )

    def test_an_interrupted_move_is_told_anew_from_nothing(self) -> None:
        plan = make_plan([(1, 2), (3, 4)], balanced_ports())
        words: list[str] = []

        def prompt(text: str) -> str:
            words.append(text)
            if len(words) == 2:
                raise KeyboardInterrupt
            return ""

        switch = PersonSwitch(prompt)
        switch.connect(plan.hookups[0], total=2)
        with pytest.raises(KeyboardInterrupt):
            switch.connect(plan.hookups[1], total=2)
        switch.connect(plan.hookups[1], total=2)
        assert "Take everything off" in words[2]

    def test_the_same_again(self) -> None:
        hookup = make_plan([(1, 2), (3, 4)], balanced_ports()[:2]).hookups[0]
        assert "Leave the connections as they are." in told(hookup, hookup)[1]

    def test_the_28_hookups_take_29_matings_and_never_move_what_stays(self) -> None:
        """29 is the fewest possible: two places filled at first, then one move for each of 27 more."""
        assert (len(PLAN.hookups), PLAN.matings) == (28, 29)
        words = told(*PLAN.hookups)
        attached = [re.findall(r"Attach .*? of ([AB]:\d\d) ", text) for text in words]
        assert sum(map(len, attached)) == 29
        for before, now, text in zip(PLAN.hookups, PLAN.hookups[1:], words[1:], strict=False):
            stays = {
                str(b.split(".")[0]) for p, b in now.connections.items() if before.connections.get(p) == b
            }
            assert len(stays) == 1
            assert not any(port in text for port in stays)

    @pytest.mark.parametrize("ports", [(1, 2), (1, 2, 3, 4), tuple(range(1, 17))])
    def test_what_is_told_leads_to_the_plan(self, ports: tuple[int, ...]) -> None:
        """Somebody who does to the letter what the words say has the connections of the plan."""
        for plan in (
            make_calibration_plan(ports),
            make_plan(
                list(zip(ports[::2], ports[1::2], strict=True)), balanced_ports()[: max(len(ports) // 2, 1)]
            ),
        ):
            has: dict[int, str] = {}
            for hookup, text in zip(plan.hookups, told(*plan.hookups), strict=True):
                obey(text, has)
                assert has == dict(hookup.connections), text


def numbers(text: str) -> list[int]:
    found: list[int] = []
    for first, last in re.findall(r"(\d+)(?: to (\d+))?", text):
        found += range(int(first), int(last or first) + 1)
    return found


def obey(text: str, has: dict[int, str]) -> None:
    """Do what the numbered steps say; anything unclear is an error."""
    for step in re.findall(r"^  \d+\. (.*)$", text, re.MULTILINE):
        if step.startswith("Take everything off"):
            has.clear()
        elif taken := re.fullmatch(
            r"Take (?:the .* off )?(?:analyzer )?(ports? [\d, toand]+)(?: off .*)?\.", step
        ):
            for port in numbers(taken[1]):
                del has[port]
        elif attach := re.fullmatch(r"Attach (.*) of ([AB]:\d\d) \(end .\), in place of .*", step):
            for port, contact in re.findall(r"analyzer port (\d+) to contact (\d)", attach[1]):
                assert int(port) not in has
                has[int(port)] = f"{attach[2]}.{contact}"
        elif put := re.fullmatch(r"Put the (\w+) standard on (.*)\.", step):
            has |= dict.fromkeys(numbers(put[2]), put[1])
        elif thru := re.fullmatch(r"Connect (.*) with the thru\.", step):
            one, other = numbers(thru[1])
            has |= {one: f"thru {other}", other: f"thru {one}"}
        elif move := re.fullmatch(
            r"Move the end of the thru from port (\d+) to port (\d+); .* port (\d+)\.", step
        ):
            old, new, stays = map(int, move.groups())
            del has[old]
            has |= {new: f"thru {stays}", stays: f"thru {new}"}
        else:
            assert step.startswith(("Every contact of the specimen", "Leave the connections")), step


class Store:
    def __init__(self) -> None:
        self.kept: dict[int, RawHookup] = {}
        self.saved: list[int] = []

    def finished(self) -> Mapping[int, RawHookup]:
        return dict(self.kept)

    def save(self, raw: RawHookup) -> None:
        self.kept[raw.hookup.number] = raw
        self.saved.append(raw.hookup.number)


class Counting:
    """An analyzer whose sweeps are numbered."""

    frequency_hz = np.linspace(1e6, 100e6, 3)

    def __init__(self) -> None:
        self.sweeps = 0

    def sweep(self, ports: Sequence[int], *, switch_terms: Collection[tuple[int, int]] = ()) -> RawSweep:
        self.sweeps += 1
        s = np.full((3, len(ports), len(ports)), self.sweeps + 0j)
        return RawSweep(self.frequency_hz, s, tuple(ports), "2026-01-01T00:00:00+00:00", 0.1)

    def restore(self) -> None:
        raise AssertionError("nothing was lost")


def run(
    lines: Iterable[str], plan: Plan = PLAN, store: Store | None = None
) -> tuple[Store, Typing, list[str]]:
    kept, typing, progress = store or Store(), Typing(lines), []
    done = run_plan(plan, Counting(), PersonSwitch(typing), kept, progress=progress.append)
    assert [raw.hookup.number for raw in done] == [hookup.number for hookup in plan.hookups]
    assert all(raw is kept.kept[raw.hookup.number] for raw in done)
    return kept, typing, progress


ALL = list(range(1, 29))


class TestAnswers:
    def test_enter_alone_is_done(self) -> None:
        store, typing, _ = run([])
        assert store.saved == ALL
        assert len(typing.words) == 29

    def test_again_sweeps_the_last_one_and_replaces_it(self) -> None:
        store, typing, progress = run(["", "", " AGAIN ", ""])
        assert store.saved == [1, 2, 2, *ALL[2:]]
        assert store.kept[2].sweep.s[0, 0, 0] == 3
        assert "Check that these and no others stand: port 1 on contact 1 and port 2" in typing.words[3]
        assert "Leave the connections as they are." in typing.words[3]
        assert progress[2].endswith("in place of the earlier sweep")

    @pytest.mark.parametrize("words", ["back 3", "back to 3", "Back to hookup 3", "  back   3 "])
    def test_back_replaces_one_and_goes_on_where_it_was(self, words: str) -> None:
        store, typing, _ = run(["", "", "", "", "", "", words])
        assert store.saved == [*ALL[:6], 3, *ALL[6:]]
        assert store.kept[3].sweep.s[0, 0, 0] == 7
        assert typing.words[7].startswith("Hookup 3 of 28")
        assert typing.words[8].startswith("Hookup 7 of 28")

    def test_after_the_last_one_there_is_still_a_choice(self) -> None:
        store, typing, _ = run([*[""] * 28, "again", "", "back 28", "", ""])
        assert store.saved == [*ALL, 28, 28]
        assert typing.words[-1] == "All 28 hookups are swept."

    def test_stop(self) -> None:
        store = Store()
        with pytest.raises(KeyboardInterrupt):
            run(["", "", "Stop"], store=store)
        assert store.saved == [1, 2]
        again, typing, _ = run(["again"], store=store)
        # After an interruption the last one is the highest that is stored.
        assert again.saved == [1, 2, 2, *ALL[2:]]
        assert "Take everything off" in typing.words[1]

    @pytest.mark.parametrize(
        ("wrong", "said"),
        [
            ("q", "To end here, type stop."),
            ("yes", "When it is done, press Enter alone."),
            ("back", "Back to which hookup? Type back and its number, such as back 2."),
            ("back 0", "Hookup 0 is none that has been swept: hookups 1 to 2."),
            ("back 3", "Hookup 3 is none that has been swept: hookups 1 to 2."),
            ("help", "You may answer:"),
            *(
                (odd, f"Not understood: {odd!r}")
                for odd in ("back -1", "back 99999999", "repeat", "back 1 2")
            ),
        ],
    )
    def test_what_is_not_understood_is_asked_again_with_the_list(self, wrong: str, said: str) -> None:
        store, typing, _ = run(["", "", wrong])
        assert store.saved == ALL
        asked = typing.words[3]
        assert asked.startswith(said)
        for word in (
            "Enter alone",
            "again: sweep hookup 2",
            "back 2: go back to one of the hookups 1 to 2",
            "stop",
        ):
            assert word in asked

    def test_nothing_to_go_back_to_at_the_first(self) -> None:
        _, typing, _ = run(["again", "back 1", "?", ""])
        for asked in typing.words[1:3]:
            assert asked.startswith("Nothing has been swept yet, so there is nothing to go back to.")
        assert typing.words[3].startswith("You may answer:")
        assert "again" not in typing.words[3]
        assert "back" not in typing.words[3]

    def test_who_goes_back_and_stops_hears_that_the_earlier_sweep_is_kept(self) -> None:
        store, progress = Store(), []
        typing = Typing(["", "", "back 1", "stop"])
        with pytest.raises(KeyboardInterrupt):
            run_plan(PLAN, Counting(), PersonSwitch(typing), store, progress=progress.append)
        assert progress[-1] == "hookup 1 of 28: its earlier sweep is kept"
        assert store.kept[1].sweep.s[0, 0, 0] == 1

    def test_progress_tells_the_time_of_the_sweep_and_not_of_the_person(self) -> None:
        def slow(_: str) -> str:
            time.sleep(0.3)
            return ""

        progress: list[str] = []
        plan = make_plan([(1, 2), (3, 4)], balanced_ports()[:2])
        run_plan(plan, Counting(), PersonSwitch(slow), Store(), progress=progress.append)
        assert progress[0].endswith(": 0.10 s of sweeping")

    def test_a_single_hookup_ends_at_once(self) -> None:
        plan = make_plan([(1, 2), (3, 4)], balanced_ports()[:2])
        _, typing, _ = run([], plan)
        assert len(typing.words) == 1

    def test_the_switch_says_what_was_wanted(self) -> None:
        switch = PersonSwitch(Typing(["", "again", "back 1"]))
        moves: list[Move] = [switch.connect(PLAN.hookups[at], total=28) for at in (0, 1, 1)]
        assert moves == [Done(), Again(), Back(1)]

    def test_the_old_sweep_stays_until_the_new_one_is_stored(self) -> None:
        store = Store()

        class Full(Store):
            def save(self, raw: RawHookup) -> None:
                if raw.hookup.number in self.kept:
                    raise OSError("no space left")
                super().save(raw)

        store = Full()
        with pytest.raises(OSError, match="no space"):
            run(["", "", "again", ""], store=store)
        assert store.kept[2].sweep.s[0, 0, 0] == 2
