"""Recording on the simulated bench, over a real link."""

from __future__ import annotations

import random
import resource
import socket
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Self

import numpy as np
import pytest

from benchsweep.archive import check_series, open_series
from benchsweep.instrument import Analyzer
from benchsweep.qualification import (
    Bench,
    Recorded,
    Wishes,
    check_specimen,
    grade_series,
    load_requirements,
    load_station,
    open_bench,
    record_series,
    series_change,
    series_hookup,
    usable_calibration,
)
from benchsweep.qualification._series_ambient import Readings
from benchsweep.records import Parameter, RawSweep
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

STATION = """
schema = 1
name = "quick"
[analyzer]
[sweep]
start_mhz = 1.0
stop_mhz = 201.0
points = {points}
if_bandwidth_hz = 10000.0
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
when_missing = "calibrate"
folder = "stored"
"""


@pytest.fixture
def served(request: pytest.FixtureRequest) -> Iterator[RunningBench]:
    options = getattr(request, "param", {})
    with running_bench(BenchOptions(**({"ports": 4, "specimen": "cord-2m", "seed": 3} | options))) as bench:
        yield bench


@dataclass
class SideDoor:
    """A second connection to the bench, for what happens to it while it is swept."""

    address: str

    def __post_init__(self) -> None:
        _, host, port, _ = self.address.split("::")
        self._socket = socket.create_connection((host, int(port)), timeout=20)
        self._stream = self._socket.makefile("rwb")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.close()
        self._socket.close()

    def say(self, command: str) -> None:
        self._stream.write(command.encode() + b"\n")
        self._stream.flush()

    def ask(self, question: str) -> str:
        self.say(question)
        return bytes(self._stream.readline()).decode().strip()


@pytest.fixture
def station(tmp_path: Path) -> Path:
    path = tmp_path / "quick.toml"
    path.write_text(STATION.format(points=11))
    return path


def record(bench: Bench, folder: Path, **options: Any) -> Recorded:
    content: dict[str, Any] = {
        "hookup": series_hookup(bench, ["A:12", "B:12"]),
        "solved": lambda: usable_calibration(bench, folder=None, progress=lambda _: None),
        "folder": folder,
        "progress": lambda _: None,
    }
    return record_series(bench, check_specimen("T118-07", 2.0), **(content | options))


class Dropper:
    """Ambient readings that are none: each time it is read, now and then, a drop of the link is armed."""

    def __init__(self, door: SideDoor, every: int) -> None:
        self._door, self._every, self._rng = door, every, random.Random(7)
        self.armed = self.read_times = 0
        self.memory_mb: list[float] = []

    def read(self, now: datetime) -> Readings:
        self.read_times += 1
        if self.read_times % self._every == 0 and self._door.ask("BENCh:FAULt?").strip('"') == "none":
            self._door.say(f'BENCh:FAULt "drop-link",{self._rng.randrange(30)}')
            self.armed += 1
        if self.read_times % 10 == 0:
            pages = int(Path("/proc/self/statm").read_text().split()[1])
            self.memory_mb.append(pages * resource.getpagesize() / 1e6)
        return Readings({"place": float(self.read_times)})


@pytest.mark.timeout(3000)
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc")
def test_many_sweeps_with_link_drops(
    served: RunningBench, station: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """Every sweep that finished is there, in order; memory stays flat; each drop is a gap of the series.

    10 000 sweeps with ``--thorough``, else 300.
    """
    count = 10_000 if request.config.getoption("thorough") else 300
    began = time.monotonic()
    with (
        SideDoor(served.address) as door,
        open_bench(load_station(str(station)).at_address(served.address), prompt=None) as bench,
    ):
        dropper = Dropper(door, every=count // 25)
        recorded = record(bench, tmp_path / "archive", wishes=Wishes(count=count), ambient=dropper)
    ms = 1e3 * (time.monotonic() - began) / count
    figures = f"{count} sweeps, {len(recorded.gaps)} gaps: {ms:.1f} ms each"
    figures += f", packed in {recorded.packing_s:.1f} s"
    assert recorded.sweeps == count
    assert dropper.armed >= 15
    assert len(recorded.gaps) >= dropper.armed - 1  # the last one may not have struck
    check_series(recorded.record)
    with open_series(recorded.record) as reader:
        assert reader.numbers == tuple(range(1, count + 1))
        last = ""
        for sweep in reader.sweeps():
            assert sweep.ambient["place"] == sweep.number
            assert sweep.sweep.taken_at >= last
            last = sweep.sweep.taken_at
    memory = dropper.memory_mb[len(dropper.memory_mb) // 5 :]
    sys.stdout.write(f"\n{figures}; memory {min(memory):.1f} to {max(memory):.1f} MB\n")
    assert max(memory) - min(memory) < 8.0, memory


class BenchTime:
    """An analyzer whose sweeps carry the time of the bench, which runs faster than ours."""

    def __init__(self, analyzer: Analyzer, began: datetime) -> None:
        self._analyzer, self._began = analyzer, began

    def __getattr__(self, name: str) -> Any:
        return getattr(self._analyzer, name)

    def sweep(self, ports: Any) -> RawSweep:
        raw = self._analyzer.sweep(ports)
        seconds = float(self._analyzer.link.query("BENCh:TIMe?"))
        self._analyzer.link.write("BENCh:WAIT 300")
        at = self._began + timedelta(seconds=seconds)
        return replace(raw, taken_at=at.isoformat())


@pytest.mark.parametrize("served", [{"noiseless": True}, {}], indirect=True, ids=["noiseless", "noisy"])
def test_a_drift_of_the_bench_is_seen_with_its_size(
    served: RunningBench, station: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """0.05 dB more signal, so less loss, and 4 ps in an hour, over three hours of the bench.

    One sweep every five minutes.
    """
    noisy = "noisy" in request.node.name
    began = datetime.now(UTC)
    with open_bench(load_station(str(station)).at_address(served.address), prompt=None) as bench:
        solved = usable_calibration(bench, folder=None, progress=lambda _: None)
        bench.analyzer.link.write("BENCh:DRIFt 0.05,4")
        timed = replace(bench, analyzer=BenchTime(bench.analyzer, began))  # type: ignore[arg-type]
        recorded = record(timed, tmp_path / "archive", wishes=Wishes(count=37), solved=lambda: solved)
    for change in series_change(recorded.record).summary.changes:
        level, delay = change.loss_per_hour, change.delay_per_hour
        assert level is not None
        assert delay is not None
        assert level.standard_error is not None
        assert delay.standard_error is not None
        if noisy:
            # The bench wanders and warms up besides; what it does so is some hundredths of a dB.
            assert level.slope == pytest.approx(-0.05, abs=0.03)
            assert delay.slope == pytest.approx(4.0, abs=1.5)
        else:
            assert level.slope == pytest.approx(-0.05, rel=0.02)
            assert delay.slope == pytest.approx(4.0, rel=0.02)
            assert level.standard_error < 1e-3
        assert change.largest_loss_db is not None
        assert -0.25 < change.largest_loss_db.value < -0.1
    followed = series_change(recorded.record, parameters=[Parameter.NEXT]).summary
    assert followed.changes == ()
    assert any("NEXT cannot be formed" in note for note in followed.notes)


def test_any_sweep_of_a_part_of_the_specimen_is_graded(
    served: RunningBench, station: Path, tmp_path: Path
) -> None:
    with open_bench(load_station(str(station)).at_address(served.address), prompt=None) as bench:
        recorded = record(bench, tmp_path / "archive", wishes=Wishes(count=3))
    requirements = load_requirements(["tia-6a-cord"])
    first, number = grade_series(recorded.record, requirements, number=1, length_m=2.0)
    assert number == 1
    verdict = first.verdicts[0]
    assert verdict.record == f"{recorded.record}, sweep 1"
    assert first.evaluation.measurement.corrected.ports == ("A:12.1", "A:12.2", "B:12.1", "B:12.2")
    assert str(verdict.outcome) == "undecided"  # what was not attached cannot pass
    graded = [row for row in verdict.rows if row.worst_margin_db is not None]
    assert graded
    assert {row.pairs for row in graded} == {("12",)}
    assert (
        any("36" in row.note or "36" in row.pairs for row in verdict.rows if row not in graded)
        or verdict.notes
    )
    last, number = grade_series(recorded.record, requirements, length_m=2.0)
    assert number == 3
    assert not np.array_equal(
        first.evaluation.measurement.corrected.s, last.evaluation.measurement.corrected.s
    )


def test_a_verdict_says_that_the_analyzer_was_away(
    served: RunningBench, station: Path, tmp_path: Path
) -> None:
    with (
        SideDoor(served.address) as door,
        open_bench(load_station(str(station)).at_address(served.address), prompt=None) as bench,
    ):
        dropper = Dropper(door, every=2)
        recorded = record(bench, tmp_path / "archive", wishes=Wishes(count=6), ambient=dropper)
        assert dropper.armed >= 1
    with open_series(recorded.record) as reader:
        struck = [number for number, event in reader.events_until(6) if event.kind == "gap"]
    requirements = load_requirements(["tia-6a-cord"])
    for number in range(1, 7):
        (verdict,) = grade_series(recorded.record, requirements, number=number, length_m=2.0)[0].verdicts
        before = [place for place in struck if place <= number]
        told = [note for note in verdict.notes if "the analyzer was away" in note]
        assert len(told) == bool(before)
        if before:
            assert f"the last time before sweep {before[-1]} (" in told[0]
