"""Calibrating and qualifying when things go wrong: nothing is lost, nothing is stored twice."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.acquisition import Done
from benchsweep.archive import read_record
from benchsweep.errors import CalibrationMismatch, LimitNotDefined, LinkLost, SettingsChanged
from benchsweep.instrument import open_link
from benchsweep.qualification import (
    Bench,
    CalibrationResult,
    Qualified,
    Station,
    calibrate,
    check_specimen,
    confirmed_cautions,
    load_requirements,
    load_station,
    open_bench,
    qualify,
    usable_calibration,
)
from benchsweep.records import Hookup, SafetyConfirmation
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

REQUIREMENTS = load_requirements(["tia-6a-cord"])


def quiet(_: str) -> None:
    """Take a progress line."""


def short(station: Station) -> Station:
    """The same station with a coarse grid, so that a run takes little time."""
    sweep = station.sweep.model_copy(update={"start_mhz": 10.0, "stop_mhz": 500.0, "points": 50})
    return station.model_copy(update={"sweep": sweep})


@pytest.fixture(scope="module")
def served() -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=8, noiseless=True)) as bench:
        yield bench


@contextmanager
def opened(served: RunningBench, safety: SafetyConfirmation | None = None, **keys: Any) -> Iterator[Bench]:
    station = short(load_station("simulated").at_address(served.address))
    analyzer = station.analyzer.model_copy(update={"wait_for_link_s": 10.0, "timeout_s": 10.0} | keys)
    with open_bench(station.model_copy(update={"analyzer": analyzer}), prompt=None, safety=safety) as bench:
        yield bench


def calibrated(bench: Bench, folder: Path) -> CalibrationResult:
    return calibrate(bench, folder=folder / "cal", progress=quiet)


def qualified(
    bench: Bench, folder: Path, progress: Callable[[str], None] = quiet, **options: Any
) -> Qualified:
    solved = next(
        (archive.read_calibration(path) for path in archive.list_calibrations(folder / "cal")), None
    )
    return qualify(
        bench,
        check_specimen("cord 7", 2.0),
        REQUIREMENTS,
        solved=solved or calibrated(bench, folder).calibration,
        folder=folder / "archive",
        progress=progress,
        **options,
    )


def sabotage(
    bench: Bench, served: RunningBench, number: int, fault: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Arm a fault from elsewhere before hookup `number` is connected."""
    connect = bench.switch.connect

    def failing(hookup: Hookup, *, total: int) -> Any:
        if hookup.number == number:
            with open_link(served.address) as link:
                link.write_checked(f"BENCh:FAULt {fault}", doing="arming a fault")
        return connect(hookup, total=total)

    monkeypatch.setattr(bench.switch, "connect", failing)


def test_what_was_overcome_stands_in_the_record_and_nothing_else_differs(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        undisturbed = read_record(qualified(bench, tmp_path).record)
        sabotage(bench, served, 3, '"drop-link",5', monkeypatch)
        lines: list[str] = []
        disturbed = read_record(qualified(bench, tmp_path, lines.append).record)
    assert undisturbed.incidents == ()
    (incident,) = disturbed.incidents
    assert "hookup 3 of 6" in incident
    assert incident in lines
    assert np.array_equal(undisturbed.corrected.s, disturbed.corrected.s)
    for one, other in zip(undisturbed.hookups, disturbed.hookups, strict=True):
        assert one.sweep.s.tobytes() == other.sweep.s.tobytes()


def test_incidents_survive_an_interruption(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        calibrated(bench, tmp_path)
        sabotage(bench, served, 2, '"drop-link",3', monkeypatch)
        sabotage(bench, served, 4, '"front-panel",1', monkeypatch)
        lines: list[str] = []
        with pytest.raises(SettingsChanged) as ended:
            qualified(bench, tmp_path)  # also where nobody reads the progress
        assert ended.value.hint.endswith(" 3 of 6 hookups are kept: the same command continues from there.")
    with opened(served) as bench:
        lines.clear()
        record = read_record(qualified(bench, tmp_path, lines.append).record)
    assert lines[0].startswith("continuing an interrupted run: 3 of 6 hookups are kept")
    repeated, continued = record.incidents
    assert "hookup 2 of 6" in repeated
    assert continued.endswith(" continued after an interruption, 3 hookups of 6 kept")


def test_ambient_readings_survive_an_interruption(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = {"temperature_degc": 21.5, "humidity_percent": 40.0}
    with opened(served) as bench:
        calibrated(bench, tmp_path)
        sabotage(bench, served, 4, '"front-panel",1', monkeypatch)
        with pytest.raises(SettingsChanged):
            qualified(bench, tmp_path, ambient=told)
    with opened(served) as bench:
        later = {"temperature_degc": 23.0, "pressure_hpa": 1013.0}
        record = read_record(qualified(bench, tmp_path, ambient=later).record)
        assert record.ambient == {**told, **later}
        (changed,) = [sentence for sentence in record.incidents if "ambient" in sentence]
        assert changed.endswith(" ambient temperature_degc told again: 23, before the interruption 21.5")
        # The next specimen has none of them.
        assert read_record(qualified(bench, tmp_path).record).ambient == {}


def test_ambient_readings_of_what_was_archived_before_the_interruption_stay(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        calibrated(bench, tmp_path)

        def killed(_: object) -> None:
            raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr(archive.Journal, "discard", killed)
            with pytest.raises(KeyboardInterrupt):
                qualified(bench, tmp_path, ambient={"temperature_degc": 21.5})
        lines: list[str] = []
        again = qualified(bench, tmp_path, lines.append, ambient={"temperature_degc": 23.0})
    assert read_record(again.record).ambient == {"temperature_degc": 21.5}
    assert any("archive correct" in line for line in lines)


def test_no_more_repeats_than_the_station_allows(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served, retries=0) as bench:
        calibrated(bench, tmp_path)
        sabotage(bench, served, 2, '"drop-link",3', monkeypatch)
        with pytest.raises(LinkLost):
            qualified(bench, tmp_path)


def test_a_run_killed_between_archiving_and_forgetting_stores_nothing_twice(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        calibrated(bench, tmp_path)

        def killed(_: object) -> None:
            raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr(archive.Journal, "discard", killed)
            with pytest.raises(KeyboardInterrupt):
                qualified(bench, tmp_path)
        (written,) = (tmp_path / "archive").glob("*.h5")
        content = written.read_bytes()
        lines: list[str] = []
        again = qualified(bench, tmp_path, lines.append)
        assert again.record == written
        assert written.read_bytes() == content
        assert any("archived before the interruption" in line for line in lines)
        assert not any("hookup 1 of" in line for line in lines)
        assert sorted((tmp_path / "archive").rglob("*.h5")) == sorted([written, again.grading])
        # The job is over: the same command now measures anew.
        fresh = qualified(bench, tmp_path)
        assert fresh.record != written
        assert (
            read_record(fresh.record).hookups[0].sweep.taken_at
            > read_record(written).hookups[0].sweep.taken_at
        )


def test_a_run_killed_while_grading_finds_its_record(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        calibrated(bench, tmp_path)

        def killed(*_: object, **__: object) -> None:
            raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr("benchsweep.qualification._qualify.grade_all", killed)
            with pytest.raises(KeyboardInterrupt):
                qualified(bench, tmp_path)
        (written,) = (tmp_path / "archive").glob("*.h5")
        again = qualified(bench, tmp_path)
        assert again.record == written
        assert [item.verdict.record for item in again.graded] == [str(written)]
        assert sorted((tmp_path / "archive").rglob("*.h5")) == sorted([written, again.grading])
        kept = archive.verdicts_of(archive.read_grading(again.grading))
        assert kept == again.verdicts


def test_what_cannot_be_graded_is_archived_and_not_asked_for_again(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        calibrated(bench, tmp_path)

        def refused(*_: object, **__: object) -> None:
            raise LimitNotDefined("no such limit")

        with monkeypatch.context() as patch:
            patch.setattr("benchsweep.qualification._qualify.grade_all", refused)
            with pytest.raises(LimitNotDefined):
                qualified(bench, tmp_path)
        (written,) = (tmp_path / "archive").glob("*.h5")
        assert list((tmp_path / "archive").rglob("hookup-*.h5")) == []
        assert qualified(bench, tmp_path).record != written


def test_a_run_killed_before_archiving_is_archived_once(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        calibrated(bench, tmp_path)

        def killed(*_: object) -> Path:
            raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr(archive, "write_record", killed)
            with pytest.raises(KeyboardInterrupt):
                qualified(bench, tmp_path)
        assert not list((tmp_path / "archive").glob("*.h5"))
        lines: list[str] = []
        record = qualified(bench, tmp_path, lines.append).record
    assert not any(line.startswith("hookup") for line in lines)
    assert list((tmp_path / "archive").glob("*.h5")) == [record]


def test_a_calibration_killed_after_storing_is_found_and_not_solved_again(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:

        def killed(_: object) -> None:
            raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr(archive.Journal, "discard", killed)
            with pytest.raises(KeyboardInterrupt):
                calibrated(bench, tmp_path)
        (written,) = archive.list_calibrations(tmp_path / "cal")
        again = calibrated(bench, tmp_path)
        assert again.path == written
        assert archive.list_calibrations(tmp_path / "cal") == (written,)
        assert calibrated(bench, tmp_path).path != written


def test_standards_of_long_ago_are_not_made_into_a_calibration_of_today(
    served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with opened(served) as bench:
        sabotage(bench, served, 4, '"front-panel",1', monkeypatch)
        with pytest.raises(SettingsChanged):
            calibrated(bench, tmp_path)
    with opened(served) as bench:
        old = (datetime.now(UTC) - timedelta(hours=13)).isoformat()

        class Aged(archive.Journal):
            def finished(self) -> dict[int, Any]:  # type: ignore[override]
                return {
                    number: replace(raw, sweep=replace(raw.sweep, taken_at=old))
                    for number, raw in super().finished().items()
                    if datetime.fromisoformat(raw.sweep.taken_at) < began
                }

        began = datetime.now(UTC)
        monkeypatch.setattr(archive, "Journal", Aged)
        lines: list[str] = []
        calibrate(bench, folder=tmp_path / "cal", progress=lines.append)
    assert lines[0].startswith("an interrupted calibration is older than 12 h")
    assert sum(line.startswith("hookup") for line in lines) == 10


class TestSafety:
    def test_the_confirmation_stands_in_the_record(self, served: RunningBench, tmp_path: Path) -> None:
        safety = confirmed_cautions("  R. Example ")
        with opened(served, safety) as bench:
            record = read_record(qualified(bench, tmp_path).record)
        assert record.safety == safety
        assert safety.by == "R. Example"
        assert len(safety.cautions) == 4
        assert datetime.fromisoformat(safety.at).tzinfo is not None

    def test_a_continued_run_keeps_the_one_before_the_first_hookup(
        self, served: RunningBench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first = SafetyConfirmation("first", "2026-01-01T00:00:00+00:00", ("careful",))
        with opened(served, first) as bench:
            calibrated(bench, tmp_path)
            sabotage(bench, served, 3, '"front-panel",1', monkeypatch)
            with pytest.raises(SettingsChanged):
                qualified(bench, tmp_path)
        with opened(served, confirmed_cautions("second")) as bench:
            record = read_record(qualified(bench, tmp_path).record)
        assert record.safety == first


def test_a_calibration_belongs_to_the_relays_it_was_measured_through(
    served: RunningBench, tmp_path: Path
) -> None:
    with opened(served) as bench:
        station = bench.station.model_copy(
            update={
                "calibration": bench.station.calibration.model_copy(
                    update={"when_missing": "refuse", "folder": str(tmp_path / "cal")}
                )
            }
        )
        direct = replace(bench, station=station)
        assert direct.reached == f"command family {bench.analyzer.family.name} {bench.analyzer.family.digest}"
        through = replace(direct, reached=f"{direct.reached}; relay matrix a,b,c,d, map 0123456789ab")
        calibrated(direct, tmp_path)
        assert usable_calibration(direct, folder=None, progress=quiet).reached == direct.reached
        with pytest.raises(CalibrationMismatch, match="measured with no relays; now it is relay matrix a,b"):
            usable_calibration(through, folder=None, progress=quiet)
        calibrated(through, tmp_path)
        assert usable_calibration(through, folder=None, progress=quiet).reached == through.reached
        assert usable_calibration(direct, folder=None, progress=quiet).reached == direct.reached


def test_the_switch_of_a_simulated_station_says_done(served: RunningBench) -> None:
    with opened(served) as bench:
        assert bench.switch.connect(Hookup(1, {1: "open"}), total=1) == Done()
        assert (bench.relays, bench.safety, bench.incidents) == ("", None, ())
