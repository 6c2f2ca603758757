"""The index is never the truth: whatever happens to its file, answers are those of the archive."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.archive import Selection, find
from benchsweep.archive.index import _database, _find, _read
from benchsweep.archive.index._schema import FINGERPRINT
from tests.archive.index.conftest import Maker, plain_archive, plain_find, small

EVERYTHING = Selection(superseded=True, withdrawn=True)


def told(root: Path) -> list[tuple[object, ...]]:
    return [
        (one.name, one.specimen, one.operator, one.withdrawn, one.superseded_by, repr(one.judged))
        for one in find(root, EVERYTHING)
    ]


def only(folder: Path) -> Path:
    (path,) = folder.glob("*.sqlite")
    return path


def _truncated(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])


def _cut_within_a_page(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def _zeros_in_the_middle(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[4096:12288] = bytes(8192)
    path.write_bytes(content)


def _text(path: Path) -> None:
    path.write_text("something else altogether " * 400)


def _other_database(path: Path) -> None:
    path.unlink()
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE t (a)")
    other.close()


def _older_layout(path: Path) -> None:
    with sqlite3.connect(path) as other:
        other.execute(f"PRAGMA user_version = {FINGERPRINT - 1}")
    other.close()


def _without_a_table(path: Path) -> None:
    with sqlite3.connect(path) as other:
        other.execute("DROP TABLE verdicts")
    other.close()


def _of_another_archive(path: Path) -> None:
    with sqlite3.connect(path) as other:
        other.execute("UPDATE state SET root = '/elsewhere'")
    other.close()


def _changed_row(path: Path) -> None:
    with sqlite3.connect(path) as other:
        other.execute("UPDATE records SET specimen = 'another' WHERE file = (SELECT max(file) FROM records)")
    other.close()


def _changed_verdict(path: Path) -> None:
    with sqlite3.connect(path) as other:
        other.execute("UPDATE verdicts SET outcome = 'pass', newest = 1")
        other.execute("UPDATE verdicts SET outcome = 'fail', newest = 1 WHERE outcome <> 'fail'")
    other.close()


@pytest.mark.parametrize(
    "spoil",
    [
        _truncated,
        _cut_within_a_page,
        _zeros_in_the_middle,
        _text,
        _other_database,
        _older_layout,
        _without_a_table,
        _of_another_archive,
        _changed_row,
        _changed_verdict,
    ],
)
def test_a_spoiled_index_is_made_anew(spoil: Callable[[Path], None], maker: Maker, index_files: Path) -> None:
    maker.fill(4, 2, 1)
    expected = told(maker.root)
    spoil(only(index_files))
    found = find(maker.root, EVERYTHING)
    assert [one.name for one in found] == [name for name, *_ in expected]
    assert told(maker.root) == expected
    assert any("made anew" in note for note in found.notes)
    assert find(maker.root).notes == ()
    assert len(list(index_files.glob("*.sqlite"))) == 1  # the spoiled one was dropped


def test_an_empty_file_is_filled(maker: Maker, index_files: Path) -> None:
    maker.fill(3, 0, 0)
    expected = told(maker.root)
    only(index_files).write_bytes(b"")
    assert told(maker.root) == expected


def _flipped(content: bytearray, chance: random.Random) -> None:
    for _ in range(chance.choice((1, 1, 2, 8, 60))):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)


def _overwritten(content: bytearray, chance: random.Random) -> None:
    start, many = chance.randrange(len(content)), chance.choice((1, 3, 40, 700))
    content[start : start + many] = chance.randbytes(len(content[start : start + many]))


def _cut(content: bytearray, chance: random.Random) -> None:
    del content[chance.randrange(len(content)) :]


def test_a_damaged_index_never_changes_an_answer(
    maker: Maker, index_files: Path, request: pytest.FixtureRequest
) -> None:
    """Whatever bytes of the file are others, nothing is an error and everything is what the archive says."""
    maker.fill(6, 3, 2)
    expected = told(maker.root)
    plain = plain_archive(maker.root)
    asked = [Selection(), Selection(specimen="reel-*"), Selection(lot="L1"), Selection(outcome="fail")]
    find(maker.root, Selection(parameter="next"))  # which makes an index for it
    sound = only(index_files).read_bytes()
    path = only(index_files)
    chance = random.Random(5)
    for _ in range(300 if request.config.getoption("--thorough") else 30):
        for other in index_files.glob("*"):
            other.unlink()
        content = bytearray(sound)
        chance.choice((_flipped, _flipped, _overwritten, _cut))(content, chance)
        path.write_bytes(content)
        wanted = chance.choice(asked)
        assert [one.name for one in find(maker.root, wanted)] == plain_find(plain, wanted)
        assert told(maker.root) == expected


def test_a_text_of_the_tables_that_is_no_utf8_is_a_damage(maker: Maker, index_files: Path) -> None:
    maker.fill(3, 1, 1)
    expected = told(maker.root)
    path = only(index_files)
    content = path.read_bytes()
    assert b"CREATE TABLE files (id" in content
    path.write_bytes(content.replace(b"CREATE TABLE files (id", b"CREATE TABLE files (\xbbd"))
    assert told(maker.root) == expected


@pytest.mark.parametrize(
    "error", [ValueError, KeyError, TypeError, OverflowError, MemoryError, RecursionError]
)
def test_any_error_in_what_an_index_tells_makes_it_anew(
    error: type[Exception], maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    maker.fill(3, 0, 0)
    expected = [name for name, *_ in told(maker.root)]
    real, calls = _find.load, []

    def once(connection: sqlite3.Connection, base: str, files: list[int]) -> list[archive.Found]:
        calls.append(files)
        if len(calls) == 1:
            raise error("what a damaged index may lead to")
        return real(connection, base, files)

    monkeypatch.setattr(_find, "load", once)
    found = find(maker.root, EVERYTHING)
    assert [one.name for one in found] == expected
    assert any("made anew" in note for note in found.notes)


def test_an_error_of_ours_is_not_taken_for_a_damaged_index(
    maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    maker.fill(1, 0, 0)

    def wrong(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(_find, "matching", wrong)
    with pytest.raises(ZeroDivisionError):
        find(maker.root)


def test_once_a_day_every_row_is_checked(
    maker: Maker, index_files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of an index that is too large for doing so each time."""
    monkeypatch.setattr(_find, "_SMALL_BYTES", 0)
    maker.fill(4, 0, 0)
    expected = told(maker.root)
    with sqlite3.connect(only(index_files)) as other:
        other.execute("UPDATE records SET withdrawn = 1")  # hidden, so never told
    other.close()
    assert len(find(maker.root)) == 0
    now = time.time()
    monkeypatch.setattr(_find.time, "time", lambda: now + 90000.0)
    assert told(maker.root) == expected
    assert find(maker.root).notes == ()


def test_going_through_goes_on_when_the_index_is_spoiled_meanwhile(
    maker: Maker, index_files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_find, "_AT_ONCE", 2)
    maker.fill(7, 0, 0)
    expected = [name for name, *_ in told(maker.root)]
    found = find(maker.root, EVERYTHING)
    names = []
    for place, one in enumerate(found):
        names.append(one.name)
        if place == 2:
            with sqlite3.connect(only(index_files)) as other:
                other.execute("UPDATE records SET sum = sum + 1")
            other.close()
    assert names == expected
    assert found.sources() == tuple(f"{maker.root}/{name}" for name in expected)


def test_an_index_that_somebody_keeps_is_left_to_him(
    maker: Maker, index_files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_database, "_WAIT_SECONDS", 0.2)
    maker.fill(4, 0, 0)
    expected = told(maker.root)
    names = [path.name for path in index_files.glob("*.sqlite")]
    keeper = sqlite3.connect(only(index_files), isolation_level=None)
    try:
        keeper.execute("BEGIN EXCLUSIVE")
        found = find(maker.root, EVERYTHING)
        assert [one.name for one in found] == [name for name, *_ in expected]
        assert "locked" in found.notes[0]
        assert "not kept" in found.notes[0]
    finally:
        keeper.close()
    assert [path.name for path in index_files.glob("*.sqlite")] == names  # it is as good as before
    assert find(maker.root).notes == ()
    assert told(maker.root) == expected


def test_where_no_index_can_be_kept_it_is_made_in_memory(
    maker: Maker, own_home: Path, index_files: Path
) -> None:
    maker.fill(4, 1, 1)
    expected = told(maker.root)
    for path in index_files.iterdir():
        path.unlink()
    index_files.rmdir()
    index_files.write_text("a file where the folder should be")
    found = find(maker.root, EVERYTHING)
    assert [one.name for one in found] == [name for name, *_ in expected]
    assert "not kept" in found.notes[0]
    assert told(maker.root) == expected


def test_a_full_disc_is_no_obstacle(maker: Maker, monkeypatch: pytest.MonkeyPatch, index_files: Path) -> None:
    maker.fill(6, 2, 1)
    expected = told(maker.root)
    for path in index_files.glob("*"):
        path.unlink()
    real = _database.open_database

    def small_disc(*arguments: object) -> _database.Database:
        database = real(*arguments)  # type: ignore[arg-type]
        pages = database.connection.execute("PRAGMA page_count").fetchone()[0]
        database.connection.execute(f"PRAGMA max_page_count = {pages}")
        return database

    monkeypatch.setattr(_find, "open_database", small_disc)
    maker.fill(10, 0, 3)
    found = find(maker.root, EVERYTHING)
    assert len(found) == len(expected) + 10
    assert "full" in found.notes[0]


# For every line of stdin a process of its own that looks for records so often, from libraries that were read
# once; it says how many it found, or what went wrong.
FORKER = """
import os, signal, sys, traceback
from pathlib import Path
from benchsweep import archive
from benchsweep.archive.index import _database, _refresh
_database._WAIT_SECONDS = 100.0  # a busy machine is not what is tried
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
os.fsync = lambda _: None
_refresh._SECONDS_AT_ONCE = 0.005  # many short transactions
for line in sys.stdin:
    root, times, answers = line.rstrip().split("|")
    child = os.fork()
    if child:
        print(child, flush=True)
        continue
    with open(answers, "w", buffering=1) as file:
        try:
            for _ in range(int(times)):
                found = archive.find(Path(root))
                names = [one.name for one in found]
                assert len(names) == len(found) == len(set(names)), (len(names), len(found))
                assert not found.notes, found.notes
                print(len(found), file=file)
            print("done", file=file)
        except BaseException:
            traceback.print_exc(file=file)
    os._exit(0)
"""


class Forker:
    """Starts processes that look for records in an archive."""

    def __init__(self, process: subprocess.Popen[str], folder: Path) -> None:
        self.process = process
        self.folder = folder
        self.started = 0

    def start(self, root: Path, times: int) -> tuple[int, Path]:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.started += 1
        answers = self.folder / f"answers-{self.started}.txt"
        self.process.stdin.write(f"{root}|{times}|{answers}\n")
        self.process.stdin.flush()
        return int(self.process.stdout.readline()), answers


@pytest.fixture
def forker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Forker]:
    monkeypatch.setattr(_database, "_WAIT_SECONDS", 100.0)
    if not hasattr(os, "fork"):
        pytest.skip("no processes like this there")
    command = [sys.executable, "-c", FORKER]
    with subprocess.Popen(command, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        yield Forker(process, tmp_path)
        assert process.stdin is not None
        process.stdin.close()


def _ended(answers: Path) -> bool:
    return answers.exists() and any(word in answers.read_text() for word in ("done", "Error"))


def test_several_processes_at_once_while_records_are_written(maker: Maker, forker: Forker) -> None:
    for minute in range(16):
        archive.write_record(small("a", f"2026-01-01T00:{minute:02d}:00Z"), maker.root)
    finders = [forker.start(maker.root, 6) for _ in range(3)]
    for minute in range(16):
        archive.write_record(small("b", f"2026-01-02T00:{minute:02d}:00Z"), maker.root)
    until = time.monotonic() + 120
    while time.monotonic() < until and not all(_ended(path) for _, path in finders):
        time.sleep(0.02)
    for _, path in finders:
        *counts, last = path.read_text().split()
        assert last == "done", path.read_text()
        numbers = [int(count) for count in counts]
        assert numbers == sorted(numbers)  # nothing that was found is lost again
        assert (len(numbers), numbers[0] >= 16, numbers[-1] <= 32) == (6, True, True)
    assert len(find(maker.root)) == 32


def test_a_kill_at_any_moment_leaves_an_index_that_can_be_used(
    maker: Maker, index_files: Path, request: pytest.FixtureRequest, forker: Forker
) -> None:
    maker.fill(12, 5, 3)
    expected = plain_find(plain_archive(maker.root), EVERYTHING)
    chance = random.Random(3)
    kills = 200 if request.config.getoption("--thorough") else 8
    for kill in range(kills):
        if kill % 3 == 0:
            for path in index_files.glob("*"):
                path.unlink()
        process, answers = forker.start(maker.root, 1000)
        time.sleep(chance.uniform(0.0, 0.15))
        os.kill(process, signal.SIGKILL)
        assert "Traceback" not in (answers.read_text() if answers.exists() else "")
        if kill % 4 == 1:
            maker.record()
            expected = plain_find(plain_archive(maker.root), EVERYTHING)
        found = find(maker.root, EVERYTHING)
        assert [one.name for one in found] == expected
        assert found.notes == ()
    assert len(list(index_files.glob("*.sqlite"))) == 1


def test_what_another_process_has_read_is_not_read_again(
    maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two that fill one index: the second takes what the first has put in meanwhile."""
    maker.fill(12, 0, 0)
    from benchsweep.archive.index import _refresh

    monkeypatch.setattr(_refresh, "_FILES_AT_ONCE", 3)
    real, read = _refresh.read_content, []

    def one_goes_ahead(source: str, name: str) -> _read.Content:
        read.append(name)
        if len(read) == 2:
            assert len(find(maker.root, EVERYTHING)) == 12
        return real(source, name)

    monkeypatch.setattr(_refresh, "read_content", one_goes_ahead)
    assert len(find(maker.root, EVERYTHING)) == 12
    assert len(read) == 3 + 12  # a piece of three by the first, then all by the other
