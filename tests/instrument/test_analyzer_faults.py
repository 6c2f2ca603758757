"""Every family with an analyzer that misbehaves: the right error or the right data, never wrong ones."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

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
)
from benchsweep.instrument import Analyzer, Link, open_analyzer, open_link
from benchsweep.instrument._sweeping import run_sweep
from benchsweep.records import SweepSegment, SweepSettings
from benchsweep.simulator import BenchOptions, running_bench

GRID = SweepSettings(start_hz=1e6, stop_hz=250e6, points=21, if_bandwidth_hz=10e3)
FAMILIES = (
    "numbered-measurement", "named-measurement", "quoted-parameter", "numbered-trace", "single-channel",
    "sense-function",
)  # fmt: skip
# The two connections differ by about 2 in every reflection; noise and drift stay far below this.
CLOSE = 0.05


class Rig:
    """An analyzer that has swept two connections, with a second link to the bench."""

    def __init__(self, analyzer: Analyzer, bench: Link) -> None:
        self.analyzer = analyzer
        self.bench = bench
        self.configure()
        self.attach("1=short,2=open")
        self.truth: NDArray[np.complex128] = analyzer.sweep((1, 2)).s
        self.attach("1=open,2=short")
        analyzer.sweep((1, 2))
        self.attach("1=short,2=open")

    def configure(self) -> None:
        self.analyzer.configure(GRID, (1, 2))

    def attach(self, connections: str) -> None:
        self.bench.write_checked(f'BENCh:CONNect "{connections}"', doing="attaching")

    def fault(self, name: str, after: int = 0) -> None:
        self.bench.write(f'BENCh:FAULt "{name}",{after}')
        assert self.bench.query("BENCh:FAULt?").strip('"') == name

    def struck(self) -> bool:
        return self.bench.query("BENCh:FAULt?").strip('"') == "none"

    def sweep(self) -> None:
        """Take a sweep that must be right."""
        s = self.analyzer.sweep((1, 2)).s
        assert np.max(np.abs(s - self.truth)) < CLOSE


@contextmanager
def rig(family: str, **more: Any) -> Iterator[Rig]:
    with ExitStack() as stack:
        bench = stack.enter_context(running_bench(BenchOptions(family=family, ports=2, **more)))
        analyzer = open_analyzer(bench.address)
        stack.callback(analyzer.close)
        yield Rig(analyzer, stack.enter_context(open_link(bench.address)))


SWEEP_FAULTS = {
    "invalid-points": InvalidData,
    "overload": InvalidData,
    "stale-data": StaleData,
    "port-not-driven": StaleData,
    "instrument-error": ScpiError,
    "wrong-count": BadAnswer,
    "swapped-bytes": BadAnswer,
    "truncate-block": BadAnswer,
    "correction-on": SettingsChanged,
    "front-panel": SettingsChanged,
    "queue-overflow": ScpiError,
    "drop-link": LinkLost,
    "sweep-never-ends": InstrumentTimeout,
}
# Each source is swept once more than it is read, and that sweep may be the one that fails.
NOT_SEEN = {
    ("sense-function", name) for name in ("invalid-points", "overload", "stale-data", "port-not-driven")
}


@contextmanager
def hurried(analyzer: Analyzer, fault: str, short_blocks: Any) -> Iterator[None]:
    """Wait little for what `fault` keeps back; whatever an undisturbed analyzer answers has its 10 s."""
    with ExitStack() as stack:
        if fault == "truncate-block":
            stack.enter_context(short_blocks(analyzer.link))
        if fault == "sweep-never-ends":
            patch = stack.enter_context(pytest.MonkeyPatch.context())
            patch.setattr(analyzer, "_minimum_timeout_s", 0.4)
        yield


@pytest.mark.parametrize("fault", SWEEP_FAULTS)
@pytest.mark.parametrize("family", FAMILIES)
def test_a_fault_in_a_sweep_is_an_error_of_its_kind(family: str, fault: str, short_blocks: Any) -> None:
    with rig(family) as bench:
        bench.fault(fault)
        if (family, fault) in NOT_SEEN:
            with suppress(SWEEP_FAULTS[fault]):
                bench.sweep()
        else:
            with hurried(bench.analyzer, fault, short_blocks), pytest.raises(SWEEP_FAULTS[fault]) as caught:
                bench.sweep()
            assert caught.value.messages
            assert caught.value.hint
            if caught.value.passing:
                bench.analyzer.restore()
            else:
                bench.configure()
        assert bench.struck()
        bench.sweep()
        assert bench.bench.errors() == ()


@pytest.mark.parametrize("family", FAMILIES)
def test_a_fault_at_any_moment_never_gives_wrong_numbers(family: str) -> None:
    for after, fault in enumerate(
        ("stale-data", "port-not-driven", "overload", "correction-on", "stale-data")
    ):
        with rig(family, seed=after) as bench:
            bench.fault(fault, after)
            for _ in range(3):
                try:
                    bench.sweep()
                except InstrumentError as error:
                    if error.passing:
                        bench.analyzer.restore()
                    else:
                        bench.configure()
            bench.sweep()


@pytest.mark.parametrize("fault", ["rounded-setting", "setting-refused", "option-missing", "correction-on"])
@pytest.mark.parametrize("family", FAMILIES)
def test_a_fault_in_the_set_up_never_gives_wrong_numbers(family: str, fault: str) -> None:
    seen: set[type[InstrumentError] | None] = set()
    with rig(family) as bench:
        for after in range(0, 20, 2):
            bench.fault(fault, after)
            try:
                bench.configure()
                bench.sweep()
            except InstrumentError as error:
                seen.add(type(error) if error.messages else None)
            bench.bench.write('BENCh:FAULt "none"')
        bench.configure()
        bench.sweep()
    expected = {
        "rounded-setting": {InstrumentError},
        "setting-refused": {ScpiError},
        "option-missing": {NotSupported},
        "correction-on": {InstrumentError},
    }
    assert expected[fault] <= seen
    assert None not in seen  # every one carries the last messages


@pytest.mark.parametrize("family", ["named-measurement", "numbered-trace"])
def test_power_that_went_is_never_repaired(family: str, until: Any) -> None:
    with rig(family) as bench:
        bench.fault("power-cycle")
        with pytest.raises(LinkLost):
            bench.sweep()

        def said() -> bool:
            try:
                bench.analyzer.restore()
            except LinkLost:
                return False  # it is off still
            except PowerCycled:
                return True
            pytest.fail("nobody said that the power went")

        until(said)
        for attempt in (bench.analyzer.restore, bench.sweep):
            with pytest.raises(PowerCycled):
                attempt()
        bench.configure()
        bench.analyzer.sweep((1, 2))


def test_another_instrument_at_the_address() -> None:
    with (
        running_bench(BenchOptions(ports=2)) as first,
        running_bench(BenchOptions(ports=4)) as second,
        open_analyzer(first.address, timeout_s=10.0) as analyzer,
    ):
        analyzer.configure(GRID, (1, 2))
        analyzer._reopen = lambda: open_link(second.address, timeout_s=10.0)
        with pytest.raises(InstrumentError, match="another instrument answers"):
            analyzer.restore()


# In the words of each family: another number of points, and another start.
CHANGES = {
    "single-channel": ("SENS:SWE:POIN 15", "SENS:FREQ:STAR 30 MHZ"),
    **dict.fromkeys(
        (name for name in FAMILIES if name != "single-channel"),
        ("SENS1:SWE:POIN 15", "SENS1:FREQ:STAR 30 MHZ"),
    ),
}


def meddled(
    monkeypatch: pytest.MonkeyPatch, bench: Rig, command: str, then: Callable[[], None] = lambda: None
) -> None:
    """Have `command` come from somebody else just when the next sweep begins, and do `then` after it."""
    real = run_sweep
    commands = [command]

    def run(*given: Any) -> None:
        if commands:
            bench.bench.write_checked(commands.pop(), doing="meddling")
        real(*given)
        then()

    monkeypatch.setattr("benchsweep.instrument._analyzer.run_sweep", run)


@pytest.mark.parametrize("change", [0, 1], ids=["points", "start"])
@pytest.mark.parametrize("family", FAMILIES)
def test_data_that_a_changed_setting_explains_end_the_measurement(
    family: str, change: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen by the data before the settings are asked for again; a repeat would only hide who did it."""
    with rig(family) as bench:
        meddled(monkeypatch, bench, CHANGES[family][change])
        with pytest.raises(SettingsChanged) as caught:
            bench.sweep()
        assert not caught.value.passing
        word = ("POIN?", "STAR?")[change]
        assert [item.split(" was ")[0].endswith(word) for item in caught.value.differences].count(True) == 1
        assert caught.value.messages
        # The axis comes with the data, is asked for, or is not there; the number of values always tells.
        if change == 0:
            assert "when the data were not as they should be" in caught.value.message
            assert isinstance(caught.value.__cause__, BadAnswer)
        bench.configure()
        bench.sweep()


def test_data_that_a_power_cut_explains(monkeypatch: pytest.MonkeyPatch) -> None:
    with rig("named-measurement") as bench:
        link = bench.analyzer.link
        ask = link.query

        def cut() -> None:
            monkeypatch.setattr(
                link, "query", lambda command, **more: "128" if command == "*ESR?" else ask(command, **more)
            )

        meddled(monkeypatch, bench, CHANGES["named-measurement"][0], cut)
        with pytest.raises(PowerCycled) as caught:
            bench.sweep()
        assert isinstance(caught.value.__cause__, BadAnswer)


def test_wrong_data_come_before_a_link_that_is_lost_on_asking_why(monkeypatch: pytest.MonkeyPatch) -> None:
    with rig("named-measurement") as bench:
        reader = bench.analyzer._matrix
        read = reader.sweep_and_read

        def spoilt(run: Callable[[int], None]) -> NDArray[np.complex128]:
            read(run)
            bench.analyzer.link.close()
            raise BadAnswer("spoilt", hint="Measure again.")

        monkeypatch.setattr(reader, "sweep_and_read", spoilt)
        with pytest.raises(BadAnswer, match="spoilt"):
            bench.sweep()
        bench.analyzer.restore()
        bench.sweep()


def test_a_failed_sweep_leaves_nothing_behind() -> None:
    """Data of a sweep that failed were seen by nobody, so they could not be known again: they are cleared."""
    with rig("named-measurement") as bench:
        bench.attach("1=open,2=short")
        bench.fault("instrument-error")
        with pytest.raises(ScpiError):
            bench.analyzer.sweep((1, 2))
        bench.attach("1=short,2=open")
        bench.fault("stale-data")
        with pytest.raises(StaleData):
            bench.sweep()
        bench.sweep()


def test_user_request_stands_in_the_sweep() -> None:
    with rig("named-measurement") as bench:
        assert not any("front panel" in word for word in bench.analyzer.sweep((1, 2)).state)
        query = bench.analyzer.link.query
        asked = iter(["64"])
        bench.analyzer.link.query = lambda command, **more: (
            (  # type: ignore[method-assign]
                next(asked, None) if command == "*ESR?" else None
            )
            or query(command, **more)
        )
        state = bench.analyzer.sweep((1, 2)).state
        assert [word for word in state if "front panel" in word]
        assert not any("front panel" in word for word in bench.analyzer.sweep((1, 2)).state)


def test_noiseless_data_may_repeat_and_still_no_stale_data_pass() -> None:
    with rig("named-measurement", noiseless=True) as bench:
        bench.sweep()
        bench.sweep()
        bench.attach("1=open,2=short")
        bench.fault("stale-data")
        with pytest.raises(StaleData, match="a fresh sweep gave others"):
            bench.analyzer.sweep((1, 2))


def test_a_long_sweep_of_segments_is_awaited_by_what_the_first_took() -> None:
    with running_bench(BenchOptions(family="quoted-parameter", ports=2)) as bench:
        with open_analyzer(bench.address, timeout_s=10.0) as analyzer:
            parts = (SweepSegment(1e6, 2e6, 11, 10.0), SweepSegment(3e6, 9e6, 5))
            slow = SweepSettings(None, None, None, 10e3, spacing="segments", segments=parts)
            used = analyzer.configure(slow, (1, 2))
            assert analyzer._setup is not None
            # This family states the time of the bandwidth that is not used; what the readings need counts.
            assert analyzer._setup.sweep_time_s >= 11 / (used.segments[0].if_bandwidth_hz or 1.0)
            first = analyzer.sweep((1, 2))
            assert analyzer._measured_pass_s == pytest.approx(first.seconds / 2, rel=0.5)
            assert analyzer.sweep((1, 2)).s.shape == (16, 2, 2)
