"""Comments and corrections: what is written comes back, in time order, from the right archive."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import h5py
import numpy as np
import pytest

from benchsweep.archive import (
    SeriesWriter,
    all_notes,
    content_hash,
    notes_of,
    read_note,
    root_of,
    write_note,
    write_record,
)
from benchsweep.archive.format._layout import layout
from benchsweep.errors import ArchiveError, RecordDamaged
from benchsweep.records import (
    Comment,
    Correction,
    Note,
    SeriesEnding,
    SeriesHead,
    SeriesSweep,
    corrections_in_force,
)

RECORD = "ab" * 32
AT = "2026-03-01T12:30:05.000001+00:00"
COMMENT = Comment(RECORD, "M. Lindqvist", AT, "Kunde zweifelt:\nbitte prüfen")
CORRECTION = Correction(
    RECORD,
    "R. Example",
    "2026-03-02T08:00:00+00:00",
    "label of the neighbour",
    {
        "identifier": "cord 8",
        "lot": "26-118",
        "description": "",
        "operator": "Å. Öst",
        "length_m": 2.5,
        "ambient.temperature_degc": None,
        "ambient.humidity_percent": 40.0,
    },
    True,
)


@pytest.mark.parametrize(
    "note",
    [
        COMMENT,
        CORRECTION,
        Correction(RECORD, "b", AT, "r", {"length_m": None}),
        Correction(RECORD, "b", AT, "r", {}, withdrawn=False),
    ],
    ids=lambda note: type(note).__name__,
)
def test_a_note_comes_back(note: Note, tmp_path: Path) -> None:
    path = write_note(note, tmp_path)
    assert path.parent == tmp_path / "notes" / "ab"
    assert read_note(path) == note
    assert notes_of(tmp_path, RECORD) == (note,)


def test_names_tell_record_time_and_kind(tmp_path: Path) -> None:
    first = write_note(COMMENT, tmp_path)
    again = write_note(COMMENT, tmp_path)
    assert first.name == "abababababababab-20260301T123005Z-comment.h5"
    assert again.name == "abababababababab-20260301T123005Z-comment~2.h5"
    assert write_note(CORRECTION, tmp_path).name == "abababababababab-20260302T080000Z-correction.h5"


def test_notes_come_in_time_order_whatever_their_offset_from_utc(tmp_path: Path) -> None:
    # By their text the order would be another one.
    ten = replace(COMMENT, at="2026-03-01T12:00:00+02:00", text="ten")
    eleven = replace(COMMENT, at="2026-03-01T11:00:00+00:00", text="eleven")
    twelve = replace(COMMENT, at="2026-03-01T12:00:00+00:00", text="twelve")
    for note in (twelve, ten, eleven):
        write_note(note, tmp_path)
    assert [note.text for note in notes_of(tmp_path, RECORD)] == ["ten", "eleven", "twelve"]


def test_notes_of_another_record_with_the_same_first_digits_are_left_out(tmp_path: Path) -> None:
    other = RECORD[:20] + "0" * 44
    write_note(COMMENT, tmp_path)
    write_note(replace(COMMENT, record=other, text="of the other"), tmp_path)
    assert notes_of(tmp_path, RECORD) == (COMMENT,)
    assert {record: len(notes) for record, notes in all_notes(tmp_path).items()} == {RECORD: 1, other: 1}
    assert notes_of(tmp_path / "nowhere", RECORD) == ()
    assert all_notes(tmp_path / "nowhere") == {}


def test_notes_behind_an_address(tmp_path: Path) -> None:
    import fsspec

    path = write_note(COMMENT, tmp_path)
    system = fsspec.filesystem("memory")
    system.pipe(f"/notes-test/year/notes/ab/{path.name}", path.read_bytes())
    try:
        assert notes_of("memory://notes-test/year", RECORD) == (COMMENT,)
        assert all_notes("memory://notes-test/year/") == {RECORD: (COMMENT,)}
        assert notes_of("memory://notes-test/other", RECORD) == ()
        assert root_of("memory://notes-test/year/march/x.h5") == "memory://notes-test/year"
        assert root_of("memory://notes-test/other/x.h5") == "memory://notes-test/other"
    finally:
        system.rm("/notes-test", recursive=True)


def test_the_archive_is_the_nearest_folder_with_notes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deep = tmp_path / "year" / "march" / "week" / "day"
    deep.mkdir(parents=True)
    assert root_of(deep / "x.h5") == deep
    write_note(COMMENT, tmp_path)
    assert root_of(deep / "x.h5") == deep, "four up is too far"
    assert root_of(deep.parent / "x.h5") == tmp_path
    monkeypatch.chdir(tmp_path)
    assert root_of(Path("year/march/week/x.h5")) == tmp_path
    monkeypatch.chdir(tmp_path.parent)
    named = Path(tmp_path.name)
    assert root_of(named / "year" / "march" / "x.h5") == named, "as it was named"
    assert root_of(Path("elsewhere/x.h5")) == Path("elsewhere")
    monkeypatch.chdir(deep.parent)
    assert root_of(Path("x.h5")) == tmp_path
    # Somebody's own notes are none of ours.
    (deep.parent / "notes").mkdir()
    (deep.parent / "notes" / "shopping.txt").touch()
    (deep.parent / "gradings").touch()
    assert root_of(deep.parent / "x.h5") == tmp_path
    (tmp_path / "year" / "gradings").mkdir()
    (tmp_path / "year" / "gradings" / "20260301T123005Z-tia-6a-cord.h5").touch()
    assert root_of(deep / "x.h5") == tmp_path / "year"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"frequency_hz": 1.0}, "nothing that can be corrected"),
        ({"s": "x"}, "nothing that can be corrected"),
        ({"created_at": AT}, "nothing that can be corrected"),
        ({"ambient.": 1.0}, "nothing that can be corrected"),
        ({"length_m": "2"}, "no number"),
        ({"length_m": math.nan}, "no number"),
        ({"ambient.temperature_degc": math.inf}, "no number"),
        ({"lot": None}, "no text"),
        ({"identifier": 3.0}, "no text"),
    ],
)
def test_what_was_measured_cannot_be_corrected(changes: Mapping[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Correction(RECORD, "b", AT, "r", changes)  # type: ignore[arg-type]


def test_a_changed_mapping_does_not_change_a_correction() -> None:
    changes: dict[str, str | float | None] = {"lot": "1"}
    correction = Correction(RECORD, "b", AT, "r", changes)
    changes["lot"] = "2"
    assert correction.changes["lot"] == "1"
    with pytest.raises(TypeError):
        correction.changes["lot"] = "3"  # type: ignore[index]


def test_later_corrections_win_each_value_by_itself() -> None:
    first = Correction(RECORD, "a", AT, "r", {"lot": "1", "length_m": 2.0}, withdrawn=True)
    second = Correction(RECORD, "b", AT, "r", {"lot": "2"})
    third = Correction(RECORD, "c", AT, "r", {"operator": "x"}, withdrawn=False)
    force = corrections_in_force([first, COMMENT, second])
    assert force.value("lot", "?") == "2"
    assert force.value("length_m", None) == 2.0
    assert force.value("operator", "as it was") == "as it was"
    assert force.withdrawn is first, "a correction that says nothing of it leaves it withdrawn"
    assert corrections_in_force([first, second, third]).withdrawn is None
    assert corrections_in_force([third, first]).withdrawn is first


@pytest.mark.parametrize(
    ("note", "words"),
    [
        (replace(COMMENT, record="../../etc"), "no content hash"),
        (replace(COMMENT, record="AB" * 32), "no content hash"),
        (replace(COMMENT, at="yesterday"), "not an ISO 8601 time"),
        (replace(COMMENT, at="2026-03-01T12:00:00"), "not an ISO 8601 time"),
        (replace(COMMENT, text="a\0b"), "cannot be stored"),
        (replace(COMMENT, by="\ud800"), "cannot be stored"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_leaves_nothing(note: Note, words: str, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=words):
        write_note(note, tmp_path)
    assert not list(tmp_path.rglob("*.h5*"))


def test_a_flipped_byte_anywhere_is_found(tmp_path: Path) -> None:
    path = write_note(CORRECTION, tmp_path)
    whole = path.read_bytes()
    rng = np.random.default_rng(5)
    for place in rng.choice(len(whole), 120, replace=False):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        with pytest.raises(ArchiveError):
            notes_of(tmp_path, RECORD)
    path.write_bytes(whole)
    assert notes_of(tmp_path, RECORD) == (CORRECTION,)


def test_another_kind_of_file_is_no_note(stored: Path, tmp_path: Path) -> None:
    with pytest.raises(RecordDamaged, match="a benchsweep record, not a correction"):
        read_note(stored)
    with pytest.raises(ArchiveError):
        read_note(tmp_path / "missing.h5")


def test_a_note_leaves_the_record_as_it_is(build: SimpleNamespace, tmp_path: Path) -> None:
    record = write_record(build.measurement(), tmp_path)
    whole, named = record.read_bytes(), content_hash(record)
    write_note(replace(CORRECTION, record=named), tmp_path)
    assert record.read_bytes() == whole
    assert content_hash(record) == named
    assert len(notes_of(root_of(record), named)) == 1


@pytest.mark.parametrize("note", [COMMENT, CORRECTION], ids=["comment", "correction"])
def test_all_that_is_written_is_documented(note: Note, tmp_path: Path) -> None:
    kind = "comment" if note is COMMENT else "correction"
    found = set()

    def visit(_: str, item: h5py.Group | h5py.Dataset) -> None:
        if isinstance(item, h5py.Dataset):
            found.add((item.name, item.attrs["unit"], item.attrs["meaning"]))
        else:
            found.update(f"{item.name}@{key}" for key in item.attrs if key != "attributes_sha256")

    with h5py.File(write_note(note, tmp_path)) as file:
        visit("/", file)
        file.visititems(visit)
    assert found == {
        item.path if "@" in item.path else (item.path, item.unit, item.meaning) for item in layout(kind)
    }


def test_a_series_is_commented_and_corrected_like_a_record(
    build: SimpleNamespace, tmp_path: Path, run: Callable[..., Any]
) -> None:
    whole = build.measurement(points=5)
    raw = whole.hookups[0]
    head = SeriesHead(
        specimen=whole.specimen,
        started_at=whole.created_at,
        station=whole.station,
        operator=whole.operator,
        description="soak",
        hookup=raw.hookup,
        frequency_hz=raw.sweep.frequency_hz,
        analyzer=whole.analyzer,
        settings=whole.settings,
        calibration=None,
        fixture_toml=whole.fixture_toml,
        safety=None,
        software=whole.software,
    )
    with SeriesWriter(tmp_path, "key") as writer:
        writer.begin(head)
        for number in (1, 2):
            writer.append(SeriesSweep(number, raw.sweep, {}, ()))
        unfinished = shutil.copytree(writer.folder, tmp_path / "unfinished" / "copy")
        ending = SeriesEnding(whole.created_at, "enough", ())
        writer.end(ending)
        series = writer.pack(ending)
    who = ("--by", "R. Example")
    assert run("archive", "comment", series, "oven door was open", *who).code == 0
    assert run("archive", "correct", series, "--withdraw", "--reason", "wrong oven", *who).code == 0
    shown = run("show", series, "--json").json
    assert [item["text"] for item in shown["comments"]] == ["oven door was open"]
    assert "withdrawn by R. Example" in shown["withdrawn"]
    refused = run("archive", "comment", unfinished, "x", *who)
    assert refused.code == 2
    assert "not finished" in refused.err
