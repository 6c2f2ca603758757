"""The file of a channel, tester or study: only added to, chained, every damage named."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import fsspec
import pytest

from benchsweep.archive import list_files
from benchsweep.archive.references import (
    ReferenceFile,
    create,
    encode_event,
    file_name,
    list_references,
    read_history,
)
from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    RecordDamaged,
    RecordMissing,
    RecordNewer,
    ReferenceRefused,
    UnknownName,
)
from benchsweep.records import ReferenceEvent
from tests.archive.references.entries import (
    CHANNEL,
    COMPARED,
    EVERY,
    MEASURED,
    OF_CHANNEL,
    OF_STUDY,
    OF_TESTER,
    RUN,
    TESTER,
    WITHDRAWN,
)


def anything(events: tuple[ReferenceEvent, ...]) -> None:
    assert events


def kept(folder: Path, events: tuple[ReferenceEvent, ...] = OF_CHANNEL) -> ReferenceFile:
    file = create(folder, events[0])
    for event in events[1:]:
        file.append(event, anything)
    return file


@pytest.mark.parametrize("events", [OF_CHANNEL, OF_TESTER, OF_STUDY])
def test_it_is_kept_and_read(tmp_path: Path, events: tuple[ReferenceEvent, ...]) -> None:
    file = kept(tmp_path / "new" / "archive", events)
    assert Path(str(file.path)).parent == tmp_path / "new" / "archive" / "references"
    again = ReferenceFile(tmp_path / "new" / "archive", file.kind, file.name)
    assert again.exists()
    found = again.history()
    assert found.events == events
    assert (found.kind, found.name) == (file.kind, file.name)
    assert len(set(found.digests)) == len(events)
    assert [each.name for each in list_references(tmp_path / "new" / "archive", file.kind)] == [file.name]
    assert list(list_files(tmp_path / "new" / "archive")) == []


def test_the_chain_is_made_by_hand(tmp_path: Path) -> None:
    head, *lines = Path(str(kept(tmp_path).path)).read_bytes().splitlines()
    assert head == b"benchsweep-reference/1"
    before = hashlib.sha256(head).hexdigest()
    for number, line in enumerate(lines, start=1):
        told, digest, content = line.split(b" ", 2)
        assert told == str(number).encode()
        before = hashlib.sha256(f"{before} {number} ".encode() + content).hexdigest()
        assert digest.decode() == before
        json.loads(content)
    assert read_history(tmp_path / "references" / file_name("channel", CHANNEL.channel)).digest == before


def test_names_differ_where_texts_do(tmp_path: Path) -> None:
    names = ["RC 1", "RC-1", "RC/1", "..", "", "Ü", "x" * 300, "\udcff", "rc 1"]
    files = {file_name(kind, name) for kind in ("channel", "tester", "study") for name in names}
    assert len(files) == 3 * len(names)
    assert all(len(name) < 100 and "/" not in name and name[0] != "." for name in files)


def test_every_flipped_byte_and_every_lost_line_is_found(tmp_path: Path) -> None:
    path = Path(str(kept(tmp_path).path))
    whole = path.read_bytes()
    for place in range(0, len(whole) - 1, 7):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        with pytest.raises((RecordDamaged, RecordNewer)):
            read_history(path)
    lines = whole.splitlines(keepends=True)
    for lost in range(1, len(lines) - 1):
        path.write_bytes(b"".join(lines[:lost] + lines[lost + 1 :]))
        with pytest.raises(RecordDamaged):
            read_history(path)


def test_an_unfinished_line_does_not_count_and_is_dropped(tmp_path: Path) -> None:
    file = kept(tmp_path)
    path = Path(str(file.path))
    whole = path.read_bytes()
    path.write_bytes(whole[:-20])
    found = file.history()
    assert found.events == OF_CHANNEL[:-1]
    assert found.unfinished > 0
    assert file.append(OF_CHANNEL[-1], anything).events == OF_CHANNEL
    assert path.read_bytes() == whole


def test_nothing_is_added_that_does_not_belong_there(tmp_path: Path) -> None:
    file = kept(tmp_path)
    whole = Path(str(file.path)).read_bytes()
    for event in (COMPARED, RUN, TESTER, CHANNEL):
        with pytest.raises(ReferenceRefused):
            file.append(event, anything)
    with pytest.raises(ReferenceRefused, match="registered on 2026-11-02"):
        create(tmp_path, CHANNEL)
    with pytest.raises(ValueError, match="no history begins"):
        create(tmp_path, MEASURED)

    def no(events: tuple[ReferenceEvent, ...]) -> None:
        raise ReferenceRefused(f"{len(events)} are enough")

    with pytest.raises(ReferenceRefused, match="5 are enough"):
        file.append(MEASURED, no)
    assert Path(str(file.path)).read_bytes() == whole


def test_a_line_of_another_kind_of_history_is_damage(tmp_path: Path) -> None:
    """Chained rightly, as only this program or somebody who knows it well would."""
    file = kept(tmp_path)
    path = Path(str(file.path))
    content = json.dumps(encode_event(RUN), sort_keys=True, separators=(",", ":"))
    digest = hashlib.sha256(f"{file.history().digest} 6 {content}".encode()).hexdigest()
    path.write_bytes(path.read_bytes() + f"6 {digest} {content}\n".encode())
    with pytest.raises(RecordDamaged, match=r"line 7: run may not stand here"):
        read_history(path)


def test_unknown_names_are_told_with_near_ones(tmp_path: Path) -> None:
    kept(tmp_path, OF_TESTER)
    with pytest.raises(UnknownName, match="no field tester FT 08") as told:
        ReferenceFile(tmp_path, "tester", "FT 08").history()
    assert "FT 07" in told.value.hint
    with pytest.raises(UnknownName, match="no reference channel FT 07") as told:
        ReferenceFile(tmp_path, "channel", "FT 07").append(WITHDRAWN, anything)
    assert "No reference channel was registered" in told.value.hint
    assert sorted(path.name for path in (tmp_path / "references").iterdir() if path.suffix == ".txt") == [
        file_name("tester", "FT 07")
    ]


def test_a_file_under_another_name_is_noticed(tmp_path: Path) -> None:
    path = Path(str(kept(tmp_path).path))
    path.rename(path.with_name(file_name("channel", "RC 2")))
    with pytest.raises(RecordDamaged, match="holds the history of the channel RC 1"):
        ReferenceFile(tmp_path, "channel", "RC 2").history()


def test_one_that_cannot_be_read_is_listed_and_hides_no_other(tmp_path: Path) -> None:
    kept(tmp_path, OF_TESTER)
    bad = tmp_path / "references" / file_name("tester", "FT 08")
    bad.write_text("benchsweep-reference/1\nno line\n")
    (tmp_path / "references" / file_name("tester", "FT 09")).write_text("benchsweep-refer")
    (tmp_path / "references" / "tester-notes.txt").write_text("mine")
    listed = list_references(tmp_path, "tester")
    assert [each.name for each in listed] == ["FT 07", bad.stem]
    with pytest.raises(RecordDamaged):
        read_history(listed[1].path)


def test_missing_and_newer(tmp_path: Path) -> None:
    assert read_history(tmp_path / "none.txt").events == ()
    with pytest.raises(RecordMissing):
        read_history(tmp_path / "none.txt", must_exist=True)
    path = tmp_path / "new.txt"
    path.write_text("benchsweep-reference/2\n")
    with pytest.raises(RecordNewer):
        read_history(path)
    assert list_references(tmp_path / "nowhere", "study") == ()


def test_at_an_address_it_is_read_only(tmp_path: Path) -> None:
    file = kept(tmp_path, OF_TESTER)
    system = fsspec.filesystem("memory")
    system.pipe(f"/held/references/{Path(str(file.path)).name}", Path(str(file.path)).read_bytes())
    try:
        far = ReferenceFile("memory://held", "tester", "FT 07")
        assert far.history().events == OF_TESTER
        assert [each.name for each in list_references("memory://held", "tester")] == ["FT 07"]
        with pytest.raises(ArchiveLocked, match="read only"):
            far.append(WITHDRAWN, anything)
        with pytest.raises(ArchiveError):
            create("memory://held", CHANNEL)
    finally:
        system.rm("/held", recursive=True)


def test_every_entry_belongs_to_one_kind_of_first_entry() -> None:
    assert len(EVERY) == len(OF_CHANNEL) + len(OF_TESTER) + len(OF_STUDY)
