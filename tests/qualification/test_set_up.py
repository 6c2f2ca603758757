"""Faults of the link while a bench is being opened: overcome, told, and never taken for something else."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchsweep.archive import read_record
from benchsweep.definitions import find_definition
from benchsweep.errors import (
    CalibrationMismatch,
    InstrumentTimeout,
    LinkLost,
    ScpiError,
    UnknownName,
    UsageError,
)
from benchsweep.instrument import open_link
from benchsweep.qualification import (
    Station,
    calibrate,
    check_specimen,
    load_requirements,
    load_station,
    open_bench,
    qualify,
    usable_calibration,
    who_answers,
)
from benchsweep.qualification._power import switched_on_at
from benchsweep.simulator import BenchOptions, RunningBench, running_bench


def quiet(_: str) -> None:
    """Take a progress line."""


# What a lost answer costs here; an answer that is not lost must come in this time, on any machine.
TIMEOUT_S = 1.5
LATE_S = 2.0


@pytest.fixture(scope="module")
def bench_of_all() -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=8, noiseless=True)) as bench:
        yield bench


@pytest.fixture
def served(bench_of_all: RunningBench) -> RunningBench:
    """The bench of all tests here, with no fault armed and no error left over."""
    with open_link(bench_of_all.address) as link:
        link.write_checked('BENCh:FAULt "none"', "*CLS", doing="repairing")
    return bench_of_all


def station(address: str, **keys: Any) -> Station:
    loaded = load_station("simulated").at_address(address)
    sweep = {"start_mhz": 10.0, "stop_mhz": 500.0, "points": 15, "requirements": (), "longest_m": None}
    analyzer = {"timeout_s": 20.0, "wait_for_link_s": 5.0, "sweep_margin_s": 10.0} | keys
    return loaded.model_copy(
        update={
            "sweep": loaded.sweep.model_copy(update=sweep),
            "analyzer": loaded.analyzer.model_copy(update=analyzer),
        }
    )


def arm(served: RunningBench, *faults: str) -> None:
    with open_link(served.address) as link:
        for fault in faults:
            link.write_checked(f"BENCh:FAULt {fault}", doing="arming a fault")


def struck(served: RunningBench) -> bool:
    with open_link(served.address) as link:
        return link.query("BENCh:FAULt?").strip('"') == "none"


# 1 to 12 fall into identifying, the others into the settings. Those that cost a time-out come less often.
FAULTS = [("drop-link", after) for after in (1, 2, 3, 4, 6, 9, 12, 20, 30)] + [
    (fault, after) for fault in ("late-answer", "no-answer") for after in (1, 3, 6, 12, 30)
]


@pytest.mark.parametrize(("fault", "after"), FAULTS)
@pytest.mark.parametrize("door", ["analyzer", "hislip"])
def test_a_fault_that_passes_repeats_the_set_up(
    served: RunningBench, fault: str, after: int, door: str
) -> None:
    arm(served, f'"{fault}",{after},{LATE_S}')
    lines: list[str] = []
    place = station(served.addresses[door], timeout_s=20.0 if fault == "drop-link" else TIMEOUT_S)
    with open_bench(place, prompt=None, progress=lines.append) as bench:
        assert bench.analyzer.identity.family == "named-measurement"
        assert len(bench.places.slots) == 4
        # Where messages have bounds the link itself brings a late answer back into step.
        for incident in bench.incidents:
            assert re.match(
                r"\S+ set-up: analyzer: .*; the whole set-up was repeated on a fresh link", incident
            )
            assert incident in lines
            assert "TCPIP" not in incident
        assert len(bench.incidents) <= 1
        # So does asking again where the error queue shows that nothing was answered.
        if door == "analyzer" and fault != "no-answer":
            assert len(bench.incidents) == 1
    assert struck(served)


def test_incidents_of_the_set_up_stand_in_the_record(served: RunningBench, tmp_path: Path) -> None:
    arm(served, '"drop-link",7')
    with open_bench(station(served.address), prompt=None) as bench:
        (incident,) = bench.incidents
        made = calibrate(bench, folder=tmp_path / "cal", progress=quiet)
        assert made.incidents == (incident,)
        result = qualify(
            bench,
            check_specimen("T118-03", 2.0),
            load_requirements(["tia-6a-cord"]),
            solved=made.calibration,
            folder=tmp_path / "archive",
            progress=quiet,
        )
    assert read_record(result.record).incidents == (incident,)


def test_no_more_repeats_than_the_station_allows(served: RunningBench) -> None:
    arm(served, '"drop-link",7')
    with pytest.raises(LinkLost), open_bench(station(served.address, retries=0), prompt=None):
        pass


def test_other_faults_are_not_repeated(served: RunningBench) -> None:
    arm(served, '"setting-refused"')
    lines: list[str] = []
    with pytest.raises(ScpiError), open_bench(station(served.address), prompt=None, progress=lines.append):
        pass
    assert lines == []


def test_where_nobody_answers_it_is_told_at_once(served: RunningBench) -> None:
    lines: list[str] = []
    mute = socket.create_server(("127.0.0.1", 0))  # the system accepts for it
    arm(served, '"drop-link",0')
    for address, error in (
        ("TCPIP::127.0.0.1::9::SOCKET", LinkLost),
        (served.address, LinkLost),
        (f"TCPIP::127.0.0.1::{mute.getsockname()[1]}::SOCKET", InstrumentTimeout),
    ):
        place = station(address, timeout_s=20.0 if error is LinkLost else 0.4)
        with pytest.raises(error), open_bench(place, prompt=None, progress=lines.append):
            pass
    mute.close()
    assert lines == []


@pytest.mark.parametrize("fault", ["drop-link", "late-answer", "no-answer"])
@pytest.mark.parametrize("after", [1, 2, 4, 6])
def test_a_fault_while_identifying_makes_no_unknown_family(
    served: RunningBench, fault: str, after: int
) -> None:
    arm(served, f'"{fault}",{after},{LATE_S}')
    timeout_s = 20.0 if fault == "drop-link" else TIMEOUT_S
    found = who_answers(served.address, family=None, backend="@py", timeout_s=timeout_s)
    assert found.identity is not None
    assert found.identity.family == "named-measurement"


def test_a_power_cut_that_was_seen_before_the_link_dropped_is_not_forgotten() -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as fresh:
        # It has just been switched on; the first question for that clears it, and then the link drops.
        arm(fresh, '"drop-link",5')
        with open_bench(station(fresh.address), prompt=None) as bench:
            assert len(bench.incidents) == 1
            assert switched_on_at(bench.analyzer.identity.idn)


def test_a_changed_family_file_needs_a_calibration_of_its_own(
    served: RunningBench, tmp_path: Path, own_home: Path
) -> None:
    text = find_definition("families", "named-measurement").read_text(encoding="utf-8")
    folder = own_home / "families"
    folder.mkdir()
    own = folder / "mill.toml"
    own.write_text(text.replace('name = "named-measurement"', 'name = "mill"'), encoding="utf-8")
    base = station(served.address, family="mill")
    keys = {"when_missing": "refuse", "folder": str(tmp_path / "cal")}
    base = base.model_copy(update={"calibration": base.calibration.model_copy(update=keys)})

    def usable() -> str:
        with open_bench(base, prompt=None) as bench:
            return usable_calibration(bench, folder=None, progress=quiet).reached

    with open_bench(base, prompt=None) as bench:
        calibrate(bench, progress=quiet)
    assert usable().startswith("command family mill ")
    own.write_text("# a remark changes nothing\n" + own.read_text(encoding="utf-8"), encoding="utf-8")
    usable()
    changed = own.read_text(encoding="utf-8").replace("channel = 1", "channel = 2")
    own.write_text(changed, encoding="utf-8")
    with pytest.raises(
        CalibrationMismatch, match=r"with command family mill \w+; now it is command family mill"
    ):
        usable()


def test_a_family_that_is_not_there_is_said_before_anything_is_opened() -> None:
    with pytest.raises(UnknownName, match=r"mine\.toml: no such file; looked for /"):
        with open_bench(station("TCPIP::127.0.0.1::9::SOCKET", family="mine.toml"), prompt=None):
            pass


def test_one_analyzer_by_two_addresses_serves_one_run(served: RunningBench) -> None:
    def by_hand(door: str) -> Station:
        simulated = station(served.addresses[door])
        return simulated.model_copy(update={"switch": simulated.switch.model_copy(update={"kind": "person"})})

    def enter(_: str) -> str:
        return ""

    with open_bench(by_hand("analyzer"), prompt=enter):
        with pytest.raises(UsageError, match=r"using the analyzer Simulated works,.*, by another address"):
            with open_bench(by_hand("hislip"), prompt=enter):
                pass
    with open_bench(by_hand("hislip"), prompt=enter):
        pass
    # Two simulated benches may say the same of themselves.
    with (
        open_bench(station(served.address), prompt=None),
        running_bench(BenchOptions(ports=8, noiseless=True)) as other,
    ):
        with open_bench(station(other.address), prompt=None):
            pass
