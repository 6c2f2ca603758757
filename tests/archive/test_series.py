"""Series records: what was appended comes back, one sweep at a time, whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from benchsweep.archive import (
    SeriesWriter,
    check_record,
    check_series,
    is_series,
    list_unfinished,
    number_words,
    open_series,
    read_series_head,
    read_series_sweep,
)
from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    RecordDamaged,
    RecordMissing,
    RecordNewer,
    UsageError,
)
from benchsweep.records import RawSweep, SeriesEnding, SeriesEvent, SeriesHead, SeriesSweep

STARTED = "2026-03-01T12:00:00.250+00:00"
ENDING = SeriesEnding(
    "2026-03-01T13:00:00.000+00:00",
    "all 5 sweeps are taken",
    (SeriesEvent("2026-03-01T12:59:00.000+00:00", "ambient", "the file went away — gone"),),
)


def head_of(build: SimpleNamespace, **changes: object) -> SeriesHead:
    whole = build.measurement(points=5, ports=4)
    content = {
        "specimen": whole.specimen,
        "started_at": STARTED,
        "station": "simulated",
        "operator": "M. Lindqvist",
        "description": "soak at 60 °C",
        "hookup": whole.hookups[0].hookup,
        "frequency_hz": whole.hookups[0].sweep.frequency_hz,
        "analyzer": whole.analyzer,
        "settings": whole.settings,
        "calibration": whole.calibration,
        "fixture_toml": whole.fixture_toml,
        "safety": whole.safety,
        "software": whole.software,
    }
    return SeriesHead(**(content | changes))


def sweep_of(head: SeriesHead, number: int) -> SeriesSweep:
    rng = np.random.default_rng(number)
    n = len(head.hookup.analyzer_ports)
    shape = (head.frequency_hz.size, n, n)
    raw = RawSweep(
        head.frequency_hz,
        rng.normal(size=shape) + 1j * rng.normal(size=shape),
        head.hookup.analyzer_ports,
        f"2026-03-01T12:00:{number:02d}.000+00:00",
        0.25 + number,
        {"SENS:BWID?": "1000"} if number < 4 else {"SENS:BWID?": "1000", "SOUR:POW?": "-5"},
    )
    events = (SeriesEvent(STARTED, "gap", "the link was lost", 2.5), SeriesEvent(STARTED, "clock", "moved"))
    return SeriesSweep(
        number,
        raw,
        {"temperature_degc": 20.0 + number} | ({"humidity_percent": 40.0} if number == 2 else {}),
        events if number == 3 else (),
    )


def recorded(folder: Path, head: SeriesHead, count: int = 5) -> SeriesWriter:
    writer = SeriesWriter(folder, "key")
    writer.begin(head)
    for number in range(1, count + 1):
        writer.append(sweep_of(head, number))
    return writer


@pytest.fixture
def packed(build: SimpleNamespace, tmp_path: Path) -> Path:
    with recorded(tmp_path / "archive", head_of(build)) as writer:
        return writer.pack(ENDING)


def test_what_was_appended_comes_back_bit_by_bit(build: SimpleNamespace, packed: Path) -> None:
    head = head_of(build)
    with open_series(packed) as reader:
        assert build.same(reader.head, head)
        assert reader.numbers == (1, 2, 3, 4, 5)
        assert reader.lost == ()
        assert reader.ending == ENDING
        for sweep in reader.sweeps():
            assert build.same(sweep, sweep_of(head, sweep.number))
        assert [event.kind for event in reader.events()] == ["gap", "clock", "ambient"]
    assert build.same(read_series_head(packed), head)
    assert build.same(read_series_sweep(packed, 4), sweep_of(head, 4))
    check_series(packed)
    assert is_series(packed)
    # The folder is gone once the file is there.
    assert [path.name for path in packed.parent.iterdir()] == [packed.name]
    assert packed.name == "20260301T120000Z-cord-2-m-no.-7.h5"


def test_an_unfinished_series_reads_the_same(build: SimpleNamespace, tmp_path: Path) -> None:
    head = head_of(build, calibration=None, safety=None)
    with recorded(tmp_path, head) as writer:
        folder = writer.folder
        assert is_series(folder)
        with open_series(folder) as reader:  # while it is being recorded
            assert reader.ending is None
            assert reader.content_hash == ""
            assert build.same(tuple(reader.sweeps()), tuple(sweep_of(head, n) for n in range(1, 6)))
        writer.end(ENDING)
        with open_series(folder) as reader:
            assert reader.ending == ENDING
        check_series(folder)
        with pytest.raises(UsageError, match="sweep 9 is not there; it holds sweeps 1 to 5"):
            read_series_sweep(folder, 9)


def test_it_is_read_with_h5py_alone(build: SimpleNamespace, packed: Path) -> None:
    head = head_of(build)
    with h5py.File(packed) as file:
        s = file["sweeps/s"]
        assert s.shape == (5, 5, 4, 4)
        assert s.chunks is None
        assert np.array_equal(s[2], sweep_of(head, 3).sweep.s)
        assert list(file["sweeps/number"]) == [1, 2, 3, 4, 5]
        assert file["sweeps/taken_at"].asstr()[4] == "2026-03-01T12:00:05.000+00:00"
        assert list(file["ambient/name"].asstr()) == ["temperature_degc", "humidity_percent"]
        assert np.array_equal(file["ambient/value"][:, 0], [21.0, 22.0, 23.0, 24.0, 25.0])
        assert np.array_equal(np.isnan(file["ambient/value"][:, 1]), [True, False, True, True, True])
        assert list(file["events/before"]) == [3, 3, 6]
        # The checksums are those that the layout names.
        assert s.attrs["sha256"] == hashlib.sha256(s[()].tobytes()).hexdigest()
        assert file["sweeps/s_sha256"][1].tobytes() == hashlib.sha256(s[1].tobytes()).digest()


def test_interrupted_recordings_go_on(build: SimpleNamespace, tmp_path: Path) -> None:
    head = head_of(build)
    with recorded(tmp_path, head, 2) as writer:
        writer.end(ENDING)
    with SeriesWriter(tmp_path, "key") as writer:
        assert build.same(writer.head, head)
        assert writer.count == 2
        assert writer.last is not None
        assert writer.last.number == 2
        assert writer.carried == ENDING.events
        writer.append(sweep_of(head, 3))
        with pytest.raises(ArchiveError, match="does not fit the series"):
            writer.append(sweep_of(head, 5))
        with pytest.raises(ArchiveError, match="not finished"):
            writer.begin(head)
    with SeriesWriter(tmp_path, "key") as writer:
        assert writer.carried == ()  # told before sweep 3
        path = writer.pack(SeriesEnding(STARTED, "enough"))
    with open_series(path) as reader:
        assert reader.numbers == (1, 2, 3)
    with SeriesWriter(tmp_path, "key") as writer:
        assert writer.head is None


def test_afresh_drops_what_is_there(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build), 2):
        pass
    with SeriesWriter(tmp_path, "key", afresh=True) as writer:
        assert (writer.head, writer.count) == (None, 0)
        assert not any(writer.folder.iterdir())


def test_one_recording_at_a_time(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build), 1), pytest.raises(ArchiveLocked, match="another run"):
        SeriesWriter(tmp_path, "key")


def test_every_flipped_byte_is_found(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build), 2) as writer:
        path = writer.pack(ENDING)
    content = path.read_bytes()
    places = [*random.Random(1).sample(range(len(content)), 300), 0, 100, 511, 512, len(content) - 1]
    for place in places:
        flipped = bytearray(content)
        flipped[place] ^= 1 << (place % 8)
        path.write_bytes(flipped)
        with pytest.raises((RecordDamaged, RecordNewer)):
            check_series(path)
    for damaged in (content[:-1], content + b"\0", content[: len(content) // 2], b""):
        path.write_bytes(damaged)
        with pytest.raises(RecordDamaged):
            check_series(path)


def test_a_damaged_sweep_is_named_and_the_others_are_read(build: SimpleNamespace, packed: Path) -> None:
    with h5py.File(packed) as file:
        s = file["sweeps/s"]
        third = s.id.get_offset() + 2 * s[0].nbytes
    content = bytearray(packed.read_bytes())
    content[third + 7] ^= 4
    packed.write_bytes(content)
    with pytest.raises(RecordDamaged, match="sweep 3 is damaged"):
        read_series_sweep(packed, 3)
    assert build.same(read_series_sweep(packed, 4), sweep_of(head_of(build), 4))
    with pytest.raises(RecordDamaged, match="sweep 3 is damaged"):
        check_series(packed)


def test_a_missing_sweep_is_found(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build)) as writer:
        (writer.folder / "sweep-0000002.h5").unlink()
        with pytest.raises(RecordDamaged, match="sweep 2 is missing"):
            check_series(writer.folder)
        with pytest.raises(
            RecordDamaged, match="of 5 sweeps 1 cannot be read: sweep 2; of the first: its file"
        ):
            writer.pack(ENDING)
        assert writer.folder.is_dir()
        damaged = writer.folder / "sweep-0000004.h5"
        damaged.write_bytes(damaged.read_bytes()[:-9])
        path = writer.pack(ENDING, leave_out_damaged=True)
    check_series(path)
    with open_series(path) as reader:
        assert reader.numbers == (1, 3, 5)
        assert reader.lost == (2, 4)
        assert reader.ending is not None
        assert reader.ending.reason == f"{ENDING.reason}; damaged, so left out: sweeps 2, 4"
        assert [before for before, _ in reader.events_until(3)] == [3, 3, 3]
        assert [event.kind for event in reader.events()] == ["lost", "gap", "clock", "lost", "ambient"]
        with pytest.raises(UsageError, match="sweep 4 is lost"):
            reader.sweep(4)


def test_damaged_files_stop_the_packing_and_all_are_named(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build)) as writer:
        whole = {n: (writer.folder / f"sweep-000000{n}.h5").read_bytes() for n in (2, 3, 4)}
        for number, content in whole.items():
            (writer.folder / f"sweep-000000{number}.h5").write_bytes(content[:-9])
        with pytest.raises(
            RecordDamaged, match="of 5 sweeps 3 cannot be read: sweeps 2 to 4; of the first:"
        ) as e:
            writer.pack(ENDING)
        assert "--finish --leave-out-damaged" in e.value.hint
        assert (writer.lost, writer.sound, writer.count) == ((2, 3, 4), 2, 5)
        assert not list(writer.folder.glob(".*"))
        for number, content in whole.items():
            (writer.folder / f"sweep-000000{number}.h5").write_bytes(content)
        check_series(writer.pack(ENDING))


def test_packed_into_another_folder(build: SimpleNamespace, tmp_path: Path) -> None:
    head = head_of(build)
    with recorded(tmp_path / "full", head, 3) as writer:
        shutil.copytree(writer.folder, tmp_path / "copy")
        path = writer.pack(ENDING, into=tmp_path / "roomy" / "place")
    assert path.parent == tmp_path / "roomy" / "place"
    check_series(path)
    assert [child.name for child in path.parent.iterdir()] == [path.name]
    assert not any((tmp_path / "full").iterdir())
    # Killed after the file got its name there and before the folder was dropped.
    shutil.copytree(tmp_path / "copy", tmp_path / "full" / "unfinished" / "key")
    with SeriesWriter(tmp_path / "full", "key") as writer:
        assert writer.pack(ENDING, into=path.parent) == path
    assert not any((tmp_path / "full").iterdir())


def test_unfinished_series_are_listed(build: SimpleNamespace, tmp_path: Path) -> None:
    assert list_unfinished(tmp_path / "nowhere") == ()
    with recorded(tmp_path, head_of(build), 1) as writer:
        (tmp_path / "unfinished" / "job").mkdir()
        assert list_unfinished(tmp_path) == list_unfinished(tmp_path / "unfinished") == (writer.folder,)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([7], "sweep 7"), ([3, 2], "sweeps 2, 3"), ([1, 2, 3, 9, 10, 12], "sweeps 1 to 3, 9, 10, 12")],
)
def test_numbers_in_words(numbers: list[int], words: str) -> None:
    assert number_words(numbers) == words


def test_a_sweep_of_another_series_does_not_slip_in(build: SimpleNamespace, tmp_path: Path) -> None:
    other = head_of(build, description="another day")
    with recorded(tmp_path / "one", head_of(build)) as one, recorded(tmp_path / "two", other) as two:
        shutil.copy(two.folder / "sweep-0000002.h5", one.folder / "sweep-0000002.h5")
        with pytest.raises(RecordDamaged, match="belongs to another series"):
            one.pack(ENDING)
        shutil.copy(two.folder / "sweep-0000001.h5", two.folder / "sweep-0000003.h5")
        with pytest.raises(RecordDamaged, match="holds sweep 1"):
            check_series(two.folder)


def test_a_damaged_last_sweep_is_taken_anew(build: SimpleNamespace, tmp_path: Path) -> None:
    head = head_of(build)
    with recorded(tmp_path, head, 3) as writer:
        last = writer.folder / "sweep-0000003.h5"
        last.write_bytes(last.read_bytes()[:-1])
    with SeriesWriter(tmp_path, "key") as writer:
        assert (writer.count, writer.damaged) == (2, (3,))
        writer.append(sweep_of(head, 3))
        check_series(writer.folder)


def test_all_damaged_sweeps_at_the_end_are_known(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build), 5) as writer:
        for number in (3, 4, 5):
            (writer.folder / f"sweep-000000{number}.h5").write_bytes(b"")
    with SeriesWriter(tmp_path, "key") as writer:
        assert (writer.count, writer.damaged) == (2, (3, 4, 5))


def test_a_series_is_no_record_and_a_record_no_series(packed: Path, stored: Path, tmp_path: Path) -> None:
    with pytest.raises(RecordDamaged, match="a benchsweep series, not a record"):
        check_record(packed)
    with pytest.raises(RecordDamaged, match="a benchsweep record, not a series"):
        read_series_head(stored)
    assert not is_series(stored)
    assert not is_series(tmp_path)
    with pytest.raises(RecordMissing, match="no such file"):
        read_series_head(tmp_path / "nowhere.h5")


def test_a_series_that_was_packed_is_not_packed_twice(build: SimpleNamespace, tmp_path: Path) -> None:
    """Killed after the file got its name and before the folder was dropped."""
    head = head_of(build)
    with recorded(tmp_path, head, 3) as writer:
        shutil.copytree(writer.folder, tmp_path / "copy")
        path = writer.pack(ENDING)
    shutil.copytree(tmp_path / "copy", tmp_path / "unfinished" / "key")
    with SeriesWriter(tmp_path, "key") as writer:
        assert writer.finished == path
        assert writer.head is None
    assert not (tmp_path / "unfinished").exists()
    # One more sweep makes it another series: it is gone on with.
    shutil.copytree(tmp_path / "copy", tmp_path / "unfinished" / "key")
    other = tmp_path / "elsewhere"
    with recorded(other, head, 4) as longer:
        shutil.copy(longer.folder / "sweep-0000004.h5", tmp_path / "unfinished" / "key")
    with SeriesWriter(tmp_path, "key") as writer:
        assert (writer.finished, writer.count) == (None, 4)


def test_a_folder_that_was_being_dropped_is_no_series(build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path, head_of(build), 2) as writer:
        folder = writer.folder
    folder.rename(folder.with_name("key.done"))
    (folder.parent / "key.done" / "head.h5").unlink()
    with SeriesWriter(tmp_path, "key") as writer:
        assert writer.head is None
        assert not (folder.parent / "key.done").exists()


class Disc:
    """Fails the n-th call of an operation of the file system from now on, once or for good."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, name: str, after: int, code: int) -> None:
        self.left = after
        real: Callable[..., object] = getattr(os, name)

        def failing(*args: object, **options: object) -> object:
            self.left -= 1
            if self.left < 0:
                raise OSError(code, os.strerror(code))
            return real(*args, **options)

        monkeypatch.setattr(os, name, failing)


def test_a_full_disc_while_recording(
    build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    head = head_of(build)
    with recorded(tmp_path, head, 3) as writer:
        with monkeypatch.context() as patch:
            Disc(patch, "fsync", 0, errno.ENOSPC)
            with pytest.raises(ArchiveError, match="the disc is full"):
                writer.append(sweep_of(head, 4))
        assert writer.count == 3
        assert sorted(path.name for path in writer.folder.iterdir()) == [
            "head.h5",
            *(f"sweep-000000{n}.h5" for n in (1, 2, 3)),
        ]
        writer.append(sweep_of(head, 4))  # space was made
        check_series(writer.folder)


@pytest.mark.parametrize("operation", ["fsync", "link"])
def test_a_full_disc_while_packing(
    operation: str, build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    head = head_of(build)
    with recorded(tmp_path, head) as writer:
        before = {path.name: path.read_bytes() for path in writer.folder.iterdir()}
        with monkeypatch.context() as patch:
            Disc(patch, operation, 0, errno.ENOSPC)
            with pytest.raises(ArchiveError, match="the disc is full"):
                writer.pack(ENDING)
        assert {path.name: path.read_bytes() for path in writer.folder.iterdir()} == before
        assert list(tmp_path.glob("*.h5")) == []
        check_series(writer.pack(ENDING))


LIMITED = """
import resource, signal, sys
from pathlib import Path
from benchsweep.archive import SeriesWriter
from benchsweep.errors import ArchiveError
from benchsweep.records import SeriesEnding
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with SeriesWriter(Path(sys.argv[1]), "key") as writer:
    for limit in map(int, sys.argv[2:]):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, -1))
        try:
            writer.pack(SeriesEnding(writer.head.started_at, "done"))
        except ArchiveError as error:
            print(error.message)
        there = (path for path in Path(sys.argv[1]).rglob("*") if not path.is_dir())
        print(sorted(path.name for path in there if path.suffix != ".lock"))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such limit there")
def test_a_real_end_of_space_in_the_middle_of_the_file(build: SimpleNamespace, tmp_path: Path) -> None:
    """A limit on the length of files ends the write as a full disc does, somewhere in the sweeps."""
    with recorded(tmp_path, head_of(build)) as writer:
        folder = writer.folder
        size = writer.folder.joinpath("sweep-0000001.h5").stat().st_size
    before = str(sorted(path.name for path in folder.iterdir()))
    limits = (600, 4096, size, 3 * size)
    told = subprocess.run(
        [sys.executable, "-c", LIMITED, str(tmp_path), *map(str, limits)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    lines = told.stdout.splitlines()
    assert (len(lines), told.stderr) == (2 * len(limits), "")
    assert all("the disc is full" in line for line in lines[::2]), lines
    # Nothing half, nothing packed, and nothing gone, whatever the limit.
    assert set(lines[1::2]) == {before}
    check_series(folder)


def test_no_permission(build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    head = head_of(build)
    with recorded(tmp_path, head, 1) as writer, monkeypatch.context() as patch:
        Disc(patch, "open", 0, errno.EACCES)
        with pytest.raises(ArchiveLocked, match="not permitted"):
            writer.append(sweep_of(head, 2))


KILLED = """
import sys
from pathlib import Path
from benchsweep.archive import SeriesWriter, open_series
from benchsweep.records import RawSweep, SeriesEnding, SeriesSweep
with open_series(Path(sys.argv[1])) as source:
    head, first = source.head, next(source.sweeps())
folder = Path(sys.argv[2])
print("ready", flush=True)
while True:
    with SeriesWriter(folder, "key") as writer:
        if writer.head is None:
            writer.begin(head)
        while writer.count < 25:
            writer.append(SeriesSweep(writer.count + 1, first.sweep))
            print("sweep", writer.count, flush=True)
        print("packed", writer.pack(SeriesEnding(head.started_at, "all")).name, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
@pytest.mark.parametrize("seed", range(3))
def test_kill_while_recording_and_packing(
    seed: int, build: SimpleNamespace, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    for number in (seed, seed + 3) if request.config.getoption("thorough") else (seed,):
        kill_while_recording_and_packing(number, build, tmp_path / str(number))


def kill_while_recording_and_packing(seed: int, build: SimpleNamespace, tmp_path: Path) -> None:
    with recorded(tmp_path / "source", head_of(build), 1) as writer:
        source = writer.pack(ENDING)
    folder = tmp_path / "archive"
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(source), str(folder)], stdout=subprocess.PIPE, text=True
    ) as killed:
        assert killed.stdout is not None
        assert killed.stdout.readline() == "ready\n"
        time.sleep(random.Random(seed).uniform(0.02, 0.8))
        killed.send_signal(signal.SIGKILL)
        told = [line.split() for line in killed.stdout.read().splitlines() if line.count(" ") == 1]
    packed = {line[1] for line in told if line[0] == "packed"}
    there = {path.name for path in folder.glob("*.h5")} if folder.is_dir() else set()
    assert packed <= there
    ends = [place for place, line in enumerate(told) if line[0] == "packed"]
    since = told[ends[-1] + 1 :] if ends else told
    reported = max((int(line[1]) for line in since), default=0)
    with SeriesWriter(folder, "key") as writer:
        if writer.finished is None:
            assert writer.count >= reported or len(there) > len(packed)
            if writer.count:
                check_series(writer.folder)
    for name in there:
        check_series(folder / name)
        with open_series(folder / name) as reader:
            assert reader.numbers == tuple(range(1, 26))
    assert not list(folder.rglob("*.partial"))


def test_memory_does_not_grow_with_the_sweeps(build: SimpleNamespace, tmp_path: Path) -> None:
    """Packing, checking and reading 70 sweeps of 0.5 MB takes no more room than a few of them."""
    script = """
import resource, sys
from pathlib import Path
from benchsweep.archive import SeriesWriter, check_series, open_series
from benchsweep.records import RawSweep, SeriesEnding, SeriesHead, SeriesSweep
import dataclasses, numpy as np
with open_series(Path(sys.argv[1])) as source:
    head = source.head
grid = np.linspace(1e6, 5e8, 2000)
head = dataclasses.replace(head, frequency_hz=grid, calibration=None)
raw = RawSweep(grid, np.zeros((2000, 4, 4)), head.hookup.analyzer_ports, head.started_at, 0.1)
def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
def whole(count):
    with SeriesWriter(Path(sys.argv[2]) / str(count), "key") as writer:
        writer.begin(head)
        for number in range(1, count + 1):
            writer.append(SeriesSweep(number, raw))
        path = writer.pack(SeriesEnding(head.started_at, "all"))
    check_series(path)
    with open_series(path) as reader:
        for _ in reader.sweeps():
            pass
    path.unlink()
whole(10)
before = peak()
whole(70)
print(peak() - before)
"""
    with recorded(tmp_path / "source", head_of(build), 1) as writer:
        source = writer.pack(ENDING)
    told = subprocess.run(
        [sys.executable, "-c", script, str(source), str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=100,
    )
    grown_mb = float(told.stdout)
    assert grown_mb < 8, f"{grown_mb} MB for 60 more sweeps of 0.5 MB"


def test_a_series_of_version_1_stays_readable() -> None:
    """Written when the format was fixed, kept for ever."""
    golden = Path(__file__).resolve().parent / "golden" / "series-v1.h5"
    check_series(golden)
    with open_series(golden) as reader:
        assert reader.numbers == (1, 2, 3)
        assert reader.head.description == "soak at 60 °C"
        assert dict(reader.head.hookup.connections) == {1: "A:12.1", 2: "A:12.2"}
        second = reader.sweep(2)
        assert second.sweep.s[1, 1, 0] == complex(-0.06873887001989623, -0.14193697414173698)
        assert second.events == (
            SeriesEvent("2026-03-01T12:30:01.500+00:00", "gap", "the link was lost", 1.25),
        )
        assert [dict(sweep.ambient) for sweep in reader.sweeps()] == [
            {"temperature_degc": 21.0},
            {},
            {"temperature_degc": 23.0},
        ]
        assert reader.ending == SeriesEnding("2026-03-01T12:31:00.000+00:00", "all 3 sweeps are taken")
