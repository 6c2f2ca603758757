"""The simulated bench as a switch."""

from __future__ import annotations

import pytest

from benchsweep.acquisition import Done, SimulatedSwitch, make_calibration_plan, make_plan
from benchsweep.errors import AcquisitionError, ScpiError
from benchsweep.instrument import open_link
from benchsweep.records import Hookup, balanced_ports
from benchsweep.simulator import BenchOptions, running_bench


class TestSimulatedBench:
    def test_connects_and_reads_back(self) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            switch = SimulatedSwitch(lambda: link)
            for plan in (make_calibration_plan((1, 2, 3, 4)), make_plan([(1, 2), (4, 3)], balanced_ports())):
                for hookup in plan.hookups:
                    assert switch.connect(hookup, total=len(plan.hookups)) == Done()
            last = ",".join(f"{port}={target}" for port, target in hookup.connections.items())
            assert link.query("BENCh:CONNect?").strip('"') == last

    def test_what_the_bench_refuses(self) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            with pytest.raises(ScpiError, match="hookup 7 of 9 on the simulated bench") as caught:
                SimulatedSwitch(lambda: link).connect(Hookup(7, {1: "thru 2", 2: "open"}), total=9)
            assert caught.value.entries[0][0] == -224

    def test_bench_that_has_something_else(self, monkeypatch: pytest.MonkeyPatch) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            monkeypatch.setattr(link, "write_checked", lambda *commands, doing: None)
            with pytest.raises(AcquisitionError, match="hookup 1"):
                SimulatedSwitch(lambda: link).connect(Hookup(1, {1: "short"}), total=1)

    def test_insert(self) -> None:
        with running_bench(BenchOptions(ports=4)) as bench, open_link(bench.address) as link:
            switch = SimulatedSwitch(lambda: link)
            switch.insert("cord-5m")
            assert "cord-5m" in link.query("BENCh:SPECimen?")
            with pytest.raises(ScpiError, match="inserting specimen no-such-thing"):
                switch.insert("no-such-thing")
