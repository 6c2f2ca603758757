"""The file of a lot: only added to, chained, every damage named, nothing written where nothing may be."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import fsspec
import pytest

from benchsweep.archive import AppendedFile, Selection, find, list_files, reindex, root_of
from benchsweep.archive.lots import LotFile, create, list_lots
from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    LotRefused,
    RecordDamaged,
    RecordNewer,
    UnknownName,
)
from benchsweep.lots import check_event, state_of
from benchsweep.records import LotEvent
from tests.lots.entries import added, attributes, closed, excluded, lot, opened, replanned

ORDER = lot().order
FIRST = opened(attributes(2, 0, 1))
EVENTS: tuple[LotEvent, ...] = (FIRST, excluded(ORDER[0]), added(ORDER[1]), added(ORDER[2]), closed(True))


def any_entry(events: tuple[LotEvent, ...]) -> None:
    assert events


def kept(folder: Path, count: int = len(EVENTS)) -> LotFile:
    file = create(folder, FIRST)
    for event in EVENTS[1:count]:
        file.append(event, lambda there, event=event: check_event(state_of(there), event))
    return file


def test_a_lot_is_kept_and_read(tmp_path: Path) -> None:
    file = kept(tmp_path / "new" / "archive")
    assert file.path == tmp_path / "new" / "archive" / "lots" / file.path.name
    assert file.path.name.startswith("delivery-7-Nov-")
    again = LotFile(tmp_path / "new" / "archive", FIRST.lot)
    assert again.exists()
    assert again.read() == EVENTS
    assert again.history().events == EVENTS
    assert again.digest() == again.history().digests[-1]
    assert len(set(again.history().digests)) == len(EVENTS)


def test_the_chain_as_told_in_the_docstring_is_made_by_hand(tmp_path: Path) -> None:
    head, *lines = kept(tmp_path).path.read_bytes().splitlines()
    assert head == b"benchsweep-lot/2"
    before = hashlib.sha256(head).hexdigest()
    for number, line in enumerate(lines, start=1):
        told_number, digest, content = line.decode().split(" ", 2)
        assert int(told_number) == number
        before = hashlib.sha256(f"{before} {number} {content}".encode()).hexdigest()
        assert digest == before
        json.loads(content)
    assert before == LotFile(tmp_path, FIRST.lot).digest()


def test_append_returns_what_stands_there_then(tmp_path: Path) -> None:
    file = kept(tmp_path, 2)
    found = file.append(EVENTS[2], any_entry)
    assert found == file.history()
    assert found.events == EVENTS[:3]


def test_a_missing_lot_is_named_with_those_that_are_called_alike(tmp_path: Path) -> None:
    nowhere = LotFile(tmp_path / "none", "x")
    assert not nowhere.exists()
    with pytest.raises(UnknownName, match="there is no lot x") as caught:
        nowhere.read()
    assert caught.value.hint == "No lot was opened in this archive."
    kept(tmp_path)
    for call in (
        lambda file: file.read(),
        lambda file: file.digest(),
        lambda file: file.append(EVENTS[1], any_entry),
    ):
        with pytest.raises(UnknownName) as caught:
            call(LotFile(tmp_path, "delivery 7 / Nov"))
        assert caught.value.hint == "Lots there: delivery 7 / Nov.."
    assert not (tmp_path / "none").exists()
    assert len(list_lots(tmp_path)) == 1


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd",
        "CON",
        "a/b\\c",
        "x" * 400,
        "Übergröße 7",
        "🧵",
        "\udc80",
        ".",
        "",
        "a\nb",
        "-rf",
    ],
)
def test_any_name_has_a_file_of_its_own_in_the_folder(tmp_path: Path, name: str) -> None:
    file = create(tmp_path, replace(FIRST, lot=name))
    create(tmp_path, replace(FIRST, lot=f"{name} "))
    assert Path(file.path).parent == tmp_path / "lots"
    assert len(Path(file.path).name) < 100
    assert Path(file.path).name.isascii()
    assert [each.lot for each in list_lots(tmp_path)] == [name, f"{name} "]
    assert [each.read()[0].lot for each in list_lots(tmp_path)] == [name, f"{name} "]


def test_a_name_is_new_once(tmp_path: Path) -> None:
    kept(tmp_path)
    before = LotFile(tmp_path, FIRST.lot).path.read_bytes()
    with pytest.raises(LotRefused, match="opened on 2026-11-02T08:15:00") as caught:
        create(tmp_path, FIRST)
    assert "another name" in caught.value.hint
    assert LotFile(tmp_path, FIRST.lot).path.read_bytes() == before


def test_nothing_is_added_to_a_closed_lot_nor_a_second_opening(
    tmp_path: Path,
) -> None:
    file = kept(tmp_path)
    before = file.path.read_bytes()
    with pytest.raises(LotRefused, match="was closed on 2026-11-02") as caught:
        file.append(EVENTS[1], any_entry)
    assert "resubmission" in caught.value.hint
    other = kept(tmp_path / "other", 2)
    with pytest.raises(LotRefused, match="cannot be opened twice"):
        other.append(FIRST, any_entry)
    assert file.path.read_bytes() == before
    assert other.read() == EVENTS[:2]


def test_what_the_check_refuses_is_not_written_and_the_lot_is_free_again(tmp_path: Path) -> None:
    file = kept(tmp_path, 2)

    def no(events: tuple[LotEvent, ...]) -> None:
        assert events == EVENTS[:2]
        raise LotRefused("no", hint="none")

    for _ in range(2):
        with pytest.raises(LotRefused, match="no"):
            file.append(EVENTS[2], no)
    assert file.read() == EVENTS[:2]
    file.append(EVENTS[2], any_entry)
    assert file.read() == EVENTS[:3]


def test_a_flip_of_any_byte_is_found_and_nothing_is_added(tmp_path: Path) -> None:
    file = kept(tmp_path, 4)
    whole = file.path.read_bytes()
    for place in range(len(whole)):
        for bit in {0, place % 8}:
            damaged = bytearray(whole)
            damaged[place] ^= 1 << bit
            file.path.write_bytes(damaged)
            with pytest.raises((RecordDamaged, RecordNewer)) as caught:
                file.read()
            assert str(file.path) in caught.value.message
            assert caught.value.hint
            if place % 50 == 0 or place == len(whole) - 1:
                with pytest.raises((RecordDamaged, RecordNewer)):
                    file.append(EVENTS[4], any_entry)
                assert file.path.read_bytes() == damaged


def test_a_file_cut_short_anywhere_holds_the_entries_before_and_takes_the_next(tmp_path: Path) -> None:
    file = kept(tmp_path, 4)
    whole = file.path.read_bytes()
    for size in range(0, len(whole), 7):
        file.path.write_bytes(whole[:size])
        lines = max(whole[:size].count(b"\n") - 1, 0)
        if not lines:
            assert not file.exists()
            assert list_lots(tmp_path) == ()
            continue
        found = file.history()
        assert found.events == EVENTS[:lines]
        assert found.unfinished == size - (whole[:size].rfind(b"\n") + 1)
        file.append(EVENTS[lines], any_entry)
        assert file.read() == EVENTS[: lines + 1]
    file.path.write_bytes(whole[:5])
    assert create(tmp_path, FIRST).read() == (FIRST,)


def test_a_lot_that_is_damaged_further_on_is_listed_under_its_own_name(tmp_path: Path) -> None:
    file = kept(tmp_path, 3)
    Path(file.path).write_bytes(Path(file.path).read_bytes()[:-9] + b"x" * 8 + b"\n")
    (listed,) = list_lots(tmp_path)
    assert listed.lot == FIRST.lot
    with pytest.raises(RecordDamaged, match="line 4"):
        listed.read()


def lines_of(file: LotFile) -> tuple[bytes, list[bytes]]:
    head, *lines = file.path.read_bytes().splitlines(keepends=True)
    return head, lines


def test_lines_exchanged_lost_doubled_or_of_another_lot_are_found(tmp_path: Path) -> None:
    file = kept(tmp_path)
    head, lines = lines_of(file)
    other = create(tmp_path, replace(FIRST, lot="other"))
    for event in EVENTS[1:]:
        other.append(event, any_entry)
    of_other = lines_of(other)[1]
    for wrong in (
        [lines[0], *lines[2:]],
        [lines[0], lines[2], lines[1], *lines[3:]],
        [*lines[:2], lines[1], *lines[2:]],
        [lines[0], of_other[1], *lines[2:]],
        lines[1:],
    ):
        file.path.write_bytes(head + b"".join(wrong))
        with pytest.raises(RecordDamaged, match=r"line [2345]: its checksum"):
            file.read()


def test_a_line_changed_with_its_checksum_made_anew_breaks_the_next_one_and_all_anew_changes_the_digest(
    tmp_path: Path,
) -> None:
    file = kept(tmp_path)
    told = file.digest()
    head, lines = lines_of(file)
    before = hashlib.sha256(head.rstrip()).hexdigest()
    forged = []
    for number, line in enumerate(lines, start=1):
        content = line.decode().rstrip("\n").split(" ", 2)[2].replace(ORDER[2], ORDER[3])
        before = hashlib.sha256(f"{before} {number} {content}".encode()).hexdigest()
        forged.append(f"{number} {before} {content}\n".encode())
    changed = next(k for k in range(len(lines)) if forged[k] != lines[k])
    file.path.write_bytes(head + b"".join([*lines[:changed], forged[changed], *lines[changed + 1 :]]))
    with pytest.raises(RecordDamaged, match=rf"line {changed + 3}"):
        file.read()
    file.path.write_bytes(head + b"".join(forged))
    assert file.digest() != told  # only a digest kept elsewhere tells


@pytest.mark.parametrize(
    ("content", "error"),
    [
        (b"benchsweep-lot/3\n", RecordNewer),
        (b"benchsweep-lot/99\n1 x {}\n", RecordNewer),
        (b"benchsweep-lot/0\n1 x {}\n", RecordDamaged),
        (b"benchsweep-lot/x\n", RecordDamaged),
        (b"benchsweep-history/1\n", RecordDamaged),
        (b"a shopping list", RecordDamaged),
        (b"a shopping list\nwith two lines\n", RecordDamaged),
        (b"\x89HDF\r\n\x1a\n", RecordDamaged),
        (b"\0" * 100, RecordDamaged),
        (b"\n", RecordDamaged),
    ],
)
def test_a_later_version_and_foreign_files(tmp_path: Path, content: bytes, error: type[ArchiveError]) -> None:
    file = kept(tmp_path)
    file.path.write_bytes(content)
    for call in (
        file.read,
        file.exists,
        lambda: file.append(EVENTS[1], any_entry),
        lambda: create(tmp_path, FIRST),
    ):
        with pytest.raises(error) as caught:
            call()
        assert caught.value.hint
    assert file.path.read_bytes() == content
    (listed,) = list_lots(tmp_path)
    assert listed.lot == file.path.stem
    with pytest.raises(error):
        listed.read()


@pytest.mark.parametrize(
    "content",
    [
        "[]",
        "5",
        '{"event":"opened"}',
        '{"event":"excluded","at":"2026-11-02T08:15:00Z","by":"x","reason":"y","reel":"z"}',
        '{"a":1,"a":2}',
        '{"a":NaN}',
        "{",
        "[" * 100_000,
        "\udc80",
    ],
)
def test_a_sound_line_that_is_no_entry(tmp_path: Path, content: str) -> None:
    """Somebody made it, with the right checksum."""
    file = kept(tmp_path)
    data = content.encode("utf-8", "surrogateescape")
    first = hashlib.sha256(b"benchsweep-lot/1").hexdigest().encode()
    digest = hashlib.sha256(b"%s 1 %s" % (first, data)).hexdigest().encode()
    file.path.write_bytes(b"benchsweep-lot/1\n1 %s %s\n" % (digest, data))
    with pytest.raises(RecordDamaged, match="line 2"):
        file.read()


def test_a_file_under_the_name_of_another_lot_and_other_things_in_the_folder(tmp_path: Path) -> None:
    file = kept(tmp_path)
    other = LotFile(tmp_path, "other")
    Path(file.path).replace(other.path)
    for call in (other.read, lambda: other.append(EVENTS[1], any_entry)):
        with pytest.raises(RecordDamaged, match="holds the history of the lot delivery 7"):
            call()
    (tmp_path / "lots" / "read me.txt").write_text("what is here")
    (tmp_path / "lots" / "plan.pdf").write_bytes(b"%PDF")
    (tmp_path / "lots" / ".hidden-0123456789abcdef.txt").write_text("x")
    assert [each.path for each in list_lots(tmp_path)] == [other.path]


def test_the_other_parts_of_the_archive_do_not_stumble_over_lots(tmp_path: Path, stored: Path) -> None:
    kept(tmp_path)
    path = tmp_path / stored.name
    path.write_bytes(stored.read_bytes())
    assert [entry.source for entry in list_files(tmp_path)] == [path]
    for _ in range(2):
        found = find(tmp_path, Selection())
        assert [Path(one.source) for one in found] == [path]
        assert not found.damaged
    reindex(tmp_path)
    assert root_of(path) == tmp_path


def test_a_history_of_another_kind_is_not_chained_and_has_its_short_checksums(tmp_path: Path) -> None:
    plain = AppendedFile(tmp_path / "history.txt")
    plain.append({"a": 1})
    digest = hashlib.sha256(b'1 {"a":1}').hexdigest()[:16]
    assert plain.path.read_text() == f'benchsweep-history/1\n1 {digest} {{"a":1}}\n'


def test_what_is_at_an_address_can_be_read_and_not_written(tmp_path: Path) -> None:
    file = kept(tmp_path, 3)
    system = fsspec.filesystem("memory")
    root = "memory://test_lots"
    try:
        assert list_lots(root) == ()
        with pytest.raises(UnknownName):
            LotFile(root, FIRST.lot).read()
        with pytest.raises(ArchiveLocked, match="can be read only") as caught:
            create(root, FIRST)
        assert "folder" in caught.value.hint
        system.pipe(f"/test_lots/lots/{file.path.name}", file.path.read_bytes())
        remote = LotFile(root, FIRST.lot)
        assert remote.read() == EVENTS[:3]
        assert remote.digest() == file.digest()
        assert [(each.lot, each.path) for each in list_lots(root)] == [(FIRST.lot, remote.path)]
        with pytest.raises(ArchiveLocked, match="can be read only"):
            remote.append(EVENTS[3], any_entry)
        with pytest.raises(ArchiveLocked, match="can be read only"):
            create("s3://bucket/archive", FIRST)
        system.pipe(f"/test_lots/lots/{file.path.name}", file.path.read_bytes()[:-1] + b"x")
        with pytest.raises(RecordDamaged, match="memory://test_lots/lots"):
            remote.read()
    finally:
        system.rm("/test_lots", recursive=True)


WITHOUT_PERMISSION = """
import os
from pathlib import Path
import filelock  # before the way to it is closed
from benchsweep.archive.lots import LotFile, create, list_lots
from benchsweep.errors import ArchiveLocked
from tests.lots.entries import excluded, opened
file = LotFile(Path("archive"), opened().lot)
os.setgid(65534)
os.setuid(65534)
def refused(call):
    try:
        call()
    except ArchiveLocked as error:
        assert error.hint and "not permitted" in error.message, error
    else:
        raise SystemExit("it was done")
assert len(file.read()) == 2
assert len(list_lots(Path("archive"))) == 1
event = excluded(file.read()[0].reels[3])
refused(lambda: file.append(event, lambda there: None))
refused(lambda: create(Path("archive"), opened(lot="new")))
for folder in (Path("closed"), Path("closed/deeper")):
    refused(lambda: LotFile(folder, "x").read())
    refused(lambda: list_lots(folder))
    refused(lambda: create(folder, opened()))
print("done")
"""


def test_a_place_that_may_only_be_read(tmp_path: Path) -> None:
    if os.name != "posix" or os.geteuid() != 0:
        pytest.skip("only root may become somebody without permission")
    tmp_path.chmod(0o755)
    file = kept(tmp_path / "archive", 2)
    (tmp_path / "closed").mkdir(0o700)
    before = file.path.read_bytes()
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_PERMISSION],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=200,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
    )
    assert (done.returncode, done.stdout) == (0, "done\n"), done.stderr
    assert file.path.read_bytes() == before


def test_a_file_where_the_folder_should_be_and_a_folder_where_the_file_should_be(tmp_path: Path) -> None:
    (tmp_path / "lots").write_text("x")
    with pytest.raises(ArchiveError) as caught:
        create(tmp_path, FIRST)
    assert caught.value.hint
    file = LotFile(tmp_path / "b", FIRST.lot)
    Path(file.path).mkdir(parents=True)
    with pytest.raises(ArchiveError):
        create(tmp_path / "b", FIRST)


def test_a_full_disc_leaves_the_history_as_it_was(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    file = kept(tmp_path, 2)
    before = file.path.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    for limit in (len(before), len(before) + 1, len(before) + 100):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
        try:
            with pytest.raises(ArchiveError, match="the disc is full"):
                file.append(EVENTS[2], any_entry)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert file.path.read_bytes() == before
    file.append(EVENTS[2], any_entry)
    assert file.read() == EVENTS[:3]


def test_replanned_entries_are_kept_as_well(tmp_path: Path) -> None:
    file = kept(tmp_path, 2)
    event = replanned(attributes(6))
    file.append(event, lambda there: check_event(state_of(there), event))
    assert state_of(file.read()).plan == attributes(6)
