"""Whatever is asked, the index answers as reading every file does, also after every change."""

from __future__ import annotations

import fnmatch
import os
import shutil
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchsweep import archive
from benchsweep.archive import Selection, find
from benchsweep.archive.index import _refresh, _scan
from benchsweep.errors import ArchiveError, UsageError
from benchsweep.records import Correction, Outcome, Parameter, WiringFinding, WiringReport
from tests.archive.index.conftest import Maker, files_below, keep, plain_archive, plain_find, small, verdict


def names(root: Path, wanted: Selection | None = None) -> list[str]:
    return [one.name for one in find(root, wanted)]


EVERYTHING = Selection(superseded=True, withdrawn=True)


def test_answers_are_those_of_reading_everything(maker: Maker) -> None:
    maker.fill(14, 10, 5)
    hits = 0
    for change in range(8):
        plain = plain_archive(maker.root)
        for _ in range(14):
            wanted = maker.selection()
            expected = plain_find(plain, wanted)
            assert names(maker.root, wanted) == expected, wanted
            hits += bool(expected)
        files = sorted(files_below(maker.root))
        if change % 4 == 0:
            maker.fill(2, 1, 1)
        elif change % 4 == 1:
            maker.note()
        elif change % 4 == 2:
            maker.random.choice(files).unlink()
        else:
            maker.random.choice(files).rename(maker.root / f"moved-{change}.h5")
            maker.grading()
    assert hits > 30  # most questions are about something


def test_what_is_told_is_what_the_files_say(maker: Maker) -> None:
    maker.fill(12, 8, 5)
    plain = {one.name: one for one in plain_archive(maker.root)}
    found = find(maker.root, EVERYTHING)
    assert len(found) == len(plain)
    for one in found:
        other = plain[one.name]
        record = archive.read_record(Path(one.source))
        assert one.content_hash == other.content_hash
        assert (one.specimen.identifier, one.specimen.lot) == (other.values["specimen"], other.values["lot"])
        assert (one.specimen.length_m, one.operator) == (other.values["length_m"], other.values["operator"])
        assert (one.withdrawn, bool(one.superseded_by)) == (other.withdrawn, other.superseded)
        assert (one.created_at, one.station, one.reason) == (record.created_at, record.station, record.reason)
        assert (one.points, one.start_hz, one.stop_hz, one.ports) == (2, 1e6, 2e6, 2)
        assert one.size == Path(one.source).stat().st_size
        assert [judged.requirement for judged in one.judged] == sorted(other.newest)
        for judged in one.judged:
            made_at, of = other.newest[judged.requirement]
            assert bool(judged.outdated) == (made_at < other.again)
            rows = {row.parameter: row for row in of.rows}
            assert judged.outcome == of.outcome
            assert judged.edition == f"edition of {judged.requirement}"
            assert {name: item.worst_margin for name, item in judged.parameters.items()} == {
                name: row.worst_margin_db for name, row in rows.items()
            }
            in_db = [
                r.worst_margin_db for n, r in rows.items() if n.unit == "dB" and r.worst_margin_db is not None
            ]
            assert judged.worst_margin_db == min(in_db, default=None)


def test_a_measured_record_a_series_free_record_and_a_calibration(
    build: SimpleNamespace, tmp_path: Path
) -> None:
    archive.write_record(build.measurement(points=3, ports=4, hookups=2), tmp_path)
    archive.write_calibration(build.calibration(*_rng()), tmp_path / "calibrations")
    (one,) = find(tmp_path, Selection(calibration="cal-*", kit="simulated-contacts"))
    assert (one.calibration, one.calibration_at) == ("cal-1", "2026-03-01T12:30:05Z")
    assert (one.hookups, one.ports, one.kind) == (2, 4, "record")
    assert names(tmp_path, Selection(kit="other")) == []


def _rng() -> tuple[object, ...]:
    import numpy as np

    return (np.random.default_rng(1),)


def test_series_are_found_and_can_be_left_out(tmp_path: Path) -> None:
    golden = Path(__file__).parents[1] / "golden"
    shutil.copy(golden / "series-v1.h5", tmp_path / "s.h5")
    shutil.copy(golden / "record-v1.h5", tmp_path / "r.h5")
    assert sorted(names(tmp_path)) == ["r.h5", "s.h5"]
    assert names(tmp_path, Selection(kinds=("record",))) == ["r.h5"]
    assert {one.name: one.content_hash for one in find(tmp_path)}["r.h5"] == archive.content_hash(
        tmp_path / "r.h5"
    )


def test_one_is_found_by_hash_and_by_name(maker: Maker) -> None:
    maker.fill(9, 0, 0)
    for one in find(maker.root, EVERYTHING):
        stem = Path(one.name).stem
        for identifier in (
            one.content_hash,
            one.content_hash[:9],
            one.name,
            stem,
            f"{stem[:-2]}??",
            f"{stem}.h5",
        ):
            wanted = Selection(identifiers=(identifier,), superseded=True)
            assert one.name in names(maker.root, wanted), identifier
        odd = Selection(identifiers=(one.content_hash[:9], one.content_hash), superseded=True)
        assert names(maker.root, odd) == [one.name]
    assert names(maker.root, Selection(identifiers=("nothing",))) == []


def test_a_withdrawn_reduction_supersedes_nothing(tmp_path: Path) -> None:
    first = archive.write_record(small("a", "2026-01-01T00:00:00Z"), tmp_path)
    origin = archive.content_hash(first)
    second = archive.write_record(small("a", "2026-01-02T00:00:00Z", reduced_from=origin), tmp_path)
    assert names(tmp_path) == [second.name]
    (hidden,) = find(tmp_path, Selection(identifiers=(origin,), superseded=True))
    assert hidden.superseded_by == archive.content_hash(second)
    wrong = archive.content_hash(second)
    archive.write_note(Correction(wrong, "x", "2026-01-03T00:00:00Z", "wrong kit", {}, True), tmp_path)
    assert names(tmp_path) == [first.name]
    archive.write_note(Correction(wrong, "x", "2026-01-04T00:00:00Z", "was right", {}, False), tmp_path)
    assert names(tmp_path) == [second.name]
    second.unlink()
    assert names(tmp_path) == [first.name]


def test_of_two_reductions_the_later_made_counts(tmp_path: Path) -> None:
    """Both have the time of the measurement; the one that was made last takes its place."""
    at = "2026-01-01T00:00:00Z"
    first = archive.write_record(small("a", at), tmp_path)
    again = {"reduced_from": archive.content_hash(first), "reason": "kit"}
    last = archive.write_record(small("a", at, reduced_at="2026-03-01T00:00:00.2Z", **again), tmp_path)
    archive.write_record(small("a", at, reduced_at="2026-03-01T00:00:00.1Z", **again), tmp_path)
    (hidden,) = find(tmp_path, Selection(identifiers=(first.name,), superseded=True))
    assert hidden.superseded_by == archive.content_hash(last)
    told = {one.name: one.reduced_at for one in find(tmp_path, Selection(since="2026-01", until="2026-01"))}
    assert told[last.name] == "2026-03-01T00:00:00.2Z"
    assert len(told) == 2


@pytest.mark.parametrize(
    ("correction", "outdated"),
    [
        ({"changes": {"length_m": 3.0}}, True),
        ({"changes": {"ambient.temperature_degc": None}}, True),
        ({"withdrawn": True}, True),
        ({"withdrawn": False}, True),
        ({"changes": {"lot": "L-9", "operator": "B", "identifier": "b", "description": ""}}, False),
    ],
)
def test_a_grading_made_before_a_correction_is_told_and_is_no_outcome(
    tmp_path: Path, correction: dict[str, Any], outdated: bool
) -> None:
    record = archive.content_hash(archive.write_record(small("a", "2026-01-01T00:00:00Z"), tmp_path))
    good = verdict("tia-6a-cord", {Parameter.NEXT: (Outcome.PASS, 3.0)})
    before = keep(tmp_path, "2026-02-01T00:00:00Z", (record, good))
    at = "2026-02-01T00:00:00.5Z"
    note = archive.write_note(Correction(record, "x", at, "mistyped", **correction), tmp_path)
    every = {"withdrawn": True}
    (found,) = find(tmp_path, Selection(**every))
    assert [judged.outdated for judged in found.judged] == [at if outdated else ""]
    asked = (
        {"outcome": "pass"},
        {"outcome": "pass", "parameter": "next"},
        {"margin_below_db": 4.0},
        {"margin_below_db": 4.0, "parameter": "next"},
    )
    for wanted in asked:
        assert len(find(tmp_path, Selection(**every, **wanted))) == (not outdated), wanted
    for wanted in ({"requirement": "tia-*"}, {"parameter": "next"}):
        assert len(find(tmp_path, Selection(**every, **wanted))) == 1, wanted
    keep(tmp_path, "2026-02-01T00:00:01Z", (record, good))
    (found,) = find(tmp_path, Selection(**every, outcome="pass"))
    assert [judged.outdated for judged in found.judged] == [""]
    note.unlink()
    before.unlink()
    (found,) = find(tmp_path, Selection(outcome="pass"))


def test_why_the_whole_is_no_better_than_its_rows_say(tmp_path: Path) -> None:
    """A wrong wiring fails what no margin fails; a doubt makes undecided what passes."""
    record = archive.content_hash(archive.write_record(small("a", "2026-01-01T00:00:00Z"), tmp_path))
    good = verdict("tia-6-cord", {Parameter.NEXT: (Outcome.PASS, 3.0)})
    bad = verdict("tia-6a-cord", {Parameter.NEXT: (Outcome.FAIL, -3.0)})
    crossed = WiringFinding("crossed", (1, 2, 3, 6), ("12", "36"), None, "pairs 1-2 and 3-6 are crossed")
    unclear = WiringFinding("unclear", (4,), ("45",), None, "contact 4 is not seen")
    wiring = WiringReport((3, 6, 1, 2, None, None, None, None), (crossed, unclear))
    doubted = replace(good, outcome=Outcome.UNDECIDED, doubts=("it was withdrawn", "too long"))
    for name, made, why in (
        ("good", good, ""),
        ("wired wrong", replace(good, outcome=Outcome.FAIL, wiring=wiring), crossed.words),
        ("bad", replace(bad, wiring=wiring, doubts=("too long",)), ""),
        ("doubted", doubted, "it was withdrawn; too long"),
    ):
        kept = keep(tmp_path, "2026-02-01T00:00:00Z", (record, made))
        (found,) = find(tmp_path)
        assert [judged.why for judged in found.judged] == [why], name
        kept.unlink()


def test_a_correction_that_goes_makes_nothing_out_of_date(tmp_path: Path) -> None:
    record = archive.content_hash(archive.write_record(small("a", "2026-01-01T00:00:00Z"), tmp_path))
    good = verdict("tia-6a-cord", {Parameter.NEXT: (Outcome.PASS, 3.0)})
    keep(tmp_path, "2026-02-01T00:00:00Z", (record, good))
    said = Correction(record, "x", "2026-03-01T00:00:00Z", "mistyped", {"length_m": 3.0})
    note = archive.write_note(said, tmp_path)
    assert len(find(tmp_path, Selection(outcome="pass"))) == 0
    note.unlink()
    assert len(find(tmp_path, Selection(outcome="pass"))) == 1


def test_a_calibration_is_named_by_itself_or_by_the_file_it_was_stored_in(
    tmp_path: Path, build: SimpleNamespace
) -> None:
    solved = {
        at: build.calibration(*_rng(), identifier="simulated", created_at=at)
        for at in ("2026-01-01T08:00:00Z", "2026-01-01T13:00:00Z")
    }
    for at, one in solved.items():
        archive.write_record(small(at[11:13], "2026-01-01T14:00:00Z", calibration=one), tmp_path)
    stems = {at: archive.write_calibration(one, tmp_path / "calibrations").stem for at, one in solved.items()}

    def found(calibration: str) -> list[str]:
        return [one.specimen.identifier for one in find(tmp_path, Selection(calibration=calibration))]

    assert found("simulated") == found("sim*") == ["08", "13"]
    assert found(stems["2026-01-01T08:00:00Z"]) == found("20260101T08*") == ["08"]
    assert found(f"{stems['2026-01-01T13:00:00Z']}.h5") == ["13"]
    assert found("2026010*") == ["08", "13"]
    assert found("20260102*") == []


def test_the_newest_grading_counts_and_when_it_goes_the_one_before(tmp_path: Path) -> None:
    record = archive.content_hash(archive.write_record(small("a", "2026-01-01T00:00:00Z"), tmp_path))
    good = verdict("tia-6a-cord", {Parameter.NEXT: (Outcome.PASS, 3.0)})
    bad = verdict("tia-6a-cord", {Parameter.NEXT: (Outcome.FAIL, -1.0)})
    newest = keep(tmp_path, "2026-03-01T00:00:00Z", (record, bad))
    keep(tmp_path, "2026-02-01T00:00:00Z", (record, good))  # stored later, made earlier
    assert len(find(tmp_path, Selection(outcome="fail"))) == 1
    assert len(find(tmp_path, Selection(outcome="pass"))) == 0
    newest.unlink()
    assert len(find(tmp_path, Selection(outcome="pass", parameter="next", margin_below_db=3.1))) == 1
    assert len(find(tmp_path, Selection(outcome="fail"))) == 0


def test_any_of_several_will_do_and_outcome_and_margin_are_of_one_parameter(tmp_path: Path) -> None:
    for at, (name, lot) in enumerate((("a", "T8"), ("b", "T9"), ("c", ""), ("d", "T10"))):
        record = archive.write_record(small(name, f"2026-01-0{at + 1}T00:00:00Z", lot=lot), tmp_path)
        rows = {
            Parameter.NEXT: (Outcome.PASS, 0.5 + at),
            Parameter.RETURN_LOSS: (Outcome.FAIL if at == 1 else Outcome.PASS, -1.0 if at == 1 else 5.0),
        }
        keep(tmp_path, "2026-03-01T00:00:00Z", (archive.content_hash(record), verdict("tia-6a-cord", rows)))

    def found(**wishes: Any) -> str:
        return "".join(one.specimen.identifier for one in find(tmp_path, Selection(**wishes)))

    assert found(lot=("T8", "T9")) == "ab"
    assert found(lot=("T9", "")) == "bc"
    assert found(lot=()) == "abcd"
    assert found(lot=("T8", "T1?"), specimen=("b", "d")) == "d"
    assert found(calibration=("", "other")) == "abcd"
    both = (str(Parameter.NEXT), str(Parameter.RETURN_LOSS))
    assert found(outcome=("fail", "undecided")) == "b"
    assert found(parameter=both, outcome="fail") == "b"
    assert found(parameter=both, margin_below_db=1.0) == "ab"
    # That of b which passes has a margin of 1.5 dB, that which fails none below 1 dB is a pass.
    assert found(parameter=both, outcome="pass", margin_below_db=1.0) == "a"
    assert found(requirement=("iso-*", "tia-6a-*"), parameter=both, outcome=("pass", "fail")) == "abcd"


def test_what_is_hidden_or_unfinished_is_no_part_of_it(maker: Maker) -> None:
    path = maker.record()
    for folder in ("unfinished", ".trash", "2026/unfinished/x"):
        (maker.root / folder).mkdir(parents=True)
        shutil.copy(path, maker.root / folder / "x.h5")
    shutil.copy(path, maker.root / ".x.h5")
    assert names(maker.root) == [path.relative_to(maker.root).as_posix()]


def test_a_circle_of_links_is_entered_once(maker: Maker) -> None:
    maker.fill(2, 0, 0)
    (maker.root / "again").symlink_to(maker.root, target_is_directory=True)
    assert sorted(names(maker.root, EVERYTHING)) == sorted(
        path.relative_to(maker.root).as_posix() for path in files_below(maker.root)
    )


def test_an_unchanged_archive_is_neither_listed_nor_read(
    maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    maker.fill(6, 2, 1)
    for folder, _, _ in os.walk(maker.root):
        os.utime(folder, (1.7e9, 1.7e9))
    before = names(maker.root, EVERYTHING)

    def refuse(*_: object) -> None:
        raise AssertionError("looked at although nothing changed")

    monkeypatch.setattr(_refresh, "read_content", refuse)
    monkeypatch.setattr(_scan._Walk, "_list", refuse)
    assert names(maker.root, EVERYTHING) == before


def test_a_folder_that_changed_just_now_is_not_relied_on(
    maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock of whole seconds: what comes within the second of the listing leaves the folder as it was."""
    path = maker.record()
    folder = path.parent
    tick = time.time() - 0.5
    os.utime(folder, (tick, tick))
    assert len(names(maker.root)) == 1
    shutil.copy(path, folder / "20260101T000000Z-new.h5")
    os.utime(folder, (tick, tick))
    assert len(names(maker.root)) == 2
    # Ten seconds later the same listing can be relied on, and the one after is not made.
    now = time.time()
    monkeypatch.setattr(_scan.time, "time", lambda: now + 11.0)
    assert len(names(maker.root)) == 2
    monkeypatch.setattr(_scan._Walk, "_list", lambda *_: pytest.fail("listed again"))
    assert len(names(maker.root)) == 2


def test_a_damaged_file_is_named_and_seen_again_when_it_is_restored_in_its_place(maker: Maker) -> None:
    path = maker.record()
    maker.fill(3, 0, 0)
    sound = path.read_bytes()
    path.write_bytes(sound[:-100])
    (maker.root / "foreign.h5").write_bytes(b"something else")
    for folder, _, _ in os.walk(maker.root):
        os.utime(folder, (1.7e9, 1.7e9))
    for _ in range(2):  # read, and out of the index
        found = find(maker.root, EVERYTHING)
        assert len(found) == 3
        assert {one.name for one in found.damaged} == {path.relative_to(maker.root).as_posix(), "foreign.h5"}
        assert all(one.reason and one.source not in one.reason for one in found.damaged)
    path.write_bytes(sound)
    os.utime(path.parent, (1.7e9, 1.7e9))
    found = find(maker.root, EVERYTHING)
    assert len(found) == 4
    assert [one.name for one in found.damaged] == ["foreign.h5"]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="nobody is refused anything here")
def test_a_folder_that_may_not_be_read_is_named(maker: Maker) -> None:
    path = maker.record()
    locked = maker.root / "locked"
    locked.mkdir()
    shutil.copy(path, locked / "x.h5")
    locked.chmod(0)
    try:
        found = find(maker.root)
        assert len(found) == 1
        assert [one.name for one in found.damaged] == ["locked"]
    finally:
        locked.chmod(0o700)
    assert len(find(maker.root)) == 2


def test_a_name_that_is_no_text_is_named(maker: Maker) -> None:
    path = maker.record()
    try:
        shutil.copy(path, os.fsdecode(os.fsencode(maker.root) + b"/x\xff.h5"))
    except OSError:
        pytest.skip("this file system takes only text")
    found = find(maker.root)
    assert (len(found), [one.name for one in found.damaged]) == (1, ["x\\udcff.h5"])


def test_nothing_is_written_to_the_archive(maker: Maker) -> None:
    maker.fill(4, 2, 1)

    def state() -> dict[str, tuple[int, int]]:
        paths = [maker.root, *maker.root.rglob("*")]
        return {str(path): (path.stat().st_mtime_ns, path.stat().st_size) for path in paths}

    before = state()
    assert len(find(maker.root)) > 0
    archive.reindex(maker.root)
    assert state() == before


def test_no_archive_is_an_error_and_an_empty_one_is_not(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="no such archive"):
        find(tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    with pytest.raises(ArchiveError, match="is a file"):
        find(tmp_path / "file")
    (tmp_path / "empty").mkdir()
    assert len(find(tmp_path / "empty")) == 0


PATTERNS = (
    "[^]",
    "[^^a]*",
    "b*[!]a]",
    "[a--^]",
    "[",
    "*[",
    "a[",
    "[!ab]?",
    "[z-a]*",
    "[]-]*",
    "?[a-b]",
    "*",
    "[*]*",
)


def test_patterns_are_those_of_a_shell(tmp_path: Path) -> None:
    """Against fnmatch of the standard library."""
    texts = ("^", "a", "b^", "]b", "bx]", "[", "x[", "a[", "-", "*a", "zb", "b\\")
    for number, text in enumerate(texts):
        archive.write_record(small(text, f"2026-01-01T00:00:{number:02d}Z"), tmp_path)
    for pattern in PATTERNS:
        found = [one.specimen.identifier for one in find(tmp_path, Selection(specimen=pattern))]
        assert found == [t for t in texts if t == pattern or fnmatch.fnmatchcase(t, pattern)], pattern


@pytest.mark.parametrize(
    ("until", "last_in", "first_out"),
    [
        ("2024", "2024-12-31T23:59:59Z", "2025-01-01T00:00:00Z"),
        ("2024-02", "2024-02-29T23:59:59Z", "2024-03-01T00:00:00Z"),
        ("2024-02-28", "2024-02-28T23:59:59Z", "2024-02-29T00:00:00Z"),
        ("2024-02-28T10:30", "2024-02-28T10:30:59Z", "2024-02-28T10:31:00Z"),
        ("2024-02-28T10:30:00+02:00", "2024-02-28T08:30:00Z", "2024-02-28T08:30:01Z"),
    ],
)
def test_a_date_means_all_of_it(until: str, last_in: str, first_out: str, tmp_path: Path) -> None:
    archive.write_record(small("in", last_in), tmp_path)
    archive.write_record(small("out", first_out), tmp_path)
    assert [one.specimen.identifier for one in find(tmp_path, Selection(until=until))] == ["in"]
    assert [one.specimen.identifier for one in find(tmp_path, Selection(since=first_out))] == ["out"]


@pytest.mark.parametrize(
    "wishes",
    [
        {"since": "yesterday"},
        {"since": "2026-13"},
        {"until": "2026-02-30"},
        {"since": "2026-05", "until": "2026-04"},
        {"until": "10000-01"},
        {"outcome": "passed"},
        {"parameter": "NEXT"},
        {"origin": "lab"},
        {"margin_below_db": float("nan")},
        {"margin_below_db": 1.0, "parameter": "delay"},
        {"identifiers": ("",)},
        {"kinds": ("calibration",)},
        {"specimen": "reel\udcff"},
        {"lot": "a\0b"},
        {"lot": ("L-1", "a\0b")},
        {"specimen": ("reel-1", "")},
        {"outcome": ("fail", "passed")},
        {"parameter": ("next", "NEXT")},
        {"margin_below_db": 1.0, "parameter": ("next", "delay")},
        {"operator": "x" * 5000},
    ],
)
def test_nonsense_is_refused_with_a_hint(wishes: dict[str, object]) -> None:
    with pytest.raises(UsageError) as refused:
        Selection(**wishes)
    assert refused.value.hint


@pytest.mark.parametrize("root", ["a\0b", "x" * 300, f"a/{'x' * 300}/b"])
def test_a_root_that_no_system_takes_is_a_named_error(root: str) -> None:
    for place in (root, Path(root)):
        with pytest.raises(ArchiveError):
            find(place)
