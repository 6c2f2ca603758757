"""What a person is told, and the simulated bench as a switch."""

from __future__ import annotations

import pytest

from benchsweep.acquisition import PersonSwitch, SimulatedSwitch, make_calibration_plan, make_plan
from benchsweep.errors import AcquisitionError, ScpiError
from benchsweep.instrument import open_link
from benchsweep.records import Hookup, balanced_ports
from benchsweep.simulator import BenchOptions, running_bench


def told(*hookups: Hookup) -> list[str]:
    words: list[str] = []
    switch = PersonSwitch(words.append)
    for hookup in hookups:
        switch.connect(hookup, total=7)
    return words


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

    def test_an_interrupted_move_is_told_anew_from_nothing(self) -> None:
        plan = make_plan([(1, 2), (3, 4)], balanced_ports())
        words: list[str] = []

        def prompt(text: str) -> None:
            words.append(text)
            if len(words) == 2:
                raise KeyboardInterrupt

        switch = PersonSwitch(prompt)
        switch.connect(plan.hookups[0], total=2)
        with pytest.raises(KeyboardInterrupt):
            switch.connect(plan.hookups[1], total=2)
        switch.connect(plan.hookups[1], total=2)
        assert "Take everything off" in words[2]

    def test_the_same_again(self) -> None:
        hookup = make_plan([(1, 2), (3, 4)], balanced_ports()[:2]).hookups[0]
        assert "Leave the connections as they are." in told(hookup, hookup)[1]


class TestSimulatedBench:
    def test_connects_and_reads_back(self) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            switch = SimulatedSwitch(link)
            for plan in (make_calibration_plan((1, 2, 3, 4)), make_plan([(1, 2), (4, 3)], balanced_ports())):
                for hookup in plan.hookups:
                    switch.connect(hookup, total=len(plan.hookups))
            last = ",".join(f"{port}={target}" for port, target in hookup.connections.items())
            assert link.query("BENCh:CONNect?").strip('"') == last

    def test_what_the_bench_refuses(self) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            with pytest.raises(ScpiError, match="hookup 7 of 9 on the simulated bench") as caught:
                SimulatedSwitch(link).connect(Hookup(7, {1: "thru 2", 2: "open"}), total=9)
            assert caught.value.entries[0][0] == -224

    def test_bench_that_has_something_else(self, monkeypatch: pytest.MonkeyPatch) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            monkeypatch.setattr(link, "write_checked", lambda *commands, doing: None)
            with pytest.raises(AcquisitionError, match="hookup 1"):
                SimulatedSwitch(link).connect(Hookup(1, {1: "short"}), total=1)

    def test_insert(self) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            switch = SimulatedSwitch(link)
            switch.insert("cord-5m")
            assert "cord-5m" in link.query("BENCh:SPECimen?")
            with pytest.raises(ScpiError, match="inserting specimen no-such-thing"):
                switch.insert("no-such-thing")
