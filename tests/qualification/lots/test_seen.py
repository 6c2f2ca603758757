"""Lots know of each other: one that is gone, cut off or written anew is found."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchsweep.archive.lots import LotFile, create
from benchsweep.errors import LotRefused, RecordDamaged, UnknownName, UsageError
from benchsweep.limits import load_requirement
from benchsweep.qualification import (
    LotView,
    add_record,
    archive_check_document,
    check_whole_archive,
    close_lot,
    exit_code_of_archive_check,
    exit_code_of_proof,
    proof_document,
    prove_lot,
    read_lot,
)
from benchsweep.records import LotOpened, SeenLot
from tests.qualification.lots.reels import BY, record_of
from tests.qualification.lots.reels import opened as opened_with


def opened(folder: Path, lot: str, **how: Any) -> LotView:
    """A lot whose reels have names that no other lot has."""
    return opened_with(folder, lot, **{"reels": [f"{lot}-{number}" for number in range(1, 9)], **how})


def add_first(folder: Path, lot: str) -> None:
    reel = read_lot(folder, lot).state.sample[0]
    add_record(folder, lot, record_of(folder, reel, at=9, loss=0.9), by=BY)


def path_of(folder: Path, lot: str) -> Path:
    return Path(str(LotFile(folder, lot).path))


def cut(folder: Path, lot: str, lines: int) -> None:
    """Take whole lines off the end of a lot, as anybody can."""
    path = path_of(folder, lot)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-lines]))


def closed(folder: Path, lot: str, at: int = 0) -> None:
    view = opened(folder, lot)
    for number, reel in enumerate(view.state.sample):
        add_record(
            folder, lot, record_of(folder, reel, at=at + number, loss=0.95 - (at + number) / 1000), by=BY
        )
    close_lot(folder, lot, by=BY)


def earlier(folder: Path, lot: str) -> tuple[SeenLot, ...]:
    first = LotFile(folder, lot).read()[0]
    assert isinstance(first, LotOpened)
    return first.earlier


def findings(folder: Path) -> list[tuple[str, str]]:
    document = archive_check_document(check_whole_archive(folder, jobs=1))
    return [(each["finding"], Path(each["record"]).name) for each in document["findings"]]


@pytest.fixture
def three(tmp_path: Path) -> Path:
    """A closed lot, another that was opened after it, and a third."""
    closed(tmp_path, "first")
    opened(tmp_path, "second", supplier="Another")
    opened(tmp_path, "third")
    return tmp_path


def test_each_lot_keeps_what_grew_since_another_was_opened(three: Path) -> None:
    first = LotFile(three, "first").history()
    assert earlier(three, "first") == ()
    assert earlier(three, "second") == (SeenLot("first", 4, first.digest),)
    assert [each.lot for each in earlier(three, "third")] == ["second"], "the first one is kept already"
    add_first(three, "third")
    opened(three, "fourth")
    assert [(each.lot, each.entries) for each in earlier(three, "fourth")] == [("third", 2)]
    assert findings(three) == []
    for lot in ("first", "second", "third", "fourth"):
        assert read_lot(three, lot).doubts == read_lot(three, "first").doubts
        assert prove_lot(three, lot).differs == ()


def test_a_lot_that_was_cut_off_after_another_saw_it(three: Path) -> None:
    cut(three, "first", 1)
    assert read_lot(three, "first").state.closed is None, "the chain itself cannot tell"
    assert findings(three) == [("lot-cut", path_of(three, "first").name)]
    for lot in ("first", "second"):
        proof = prove_lot(three, lot)
        (words,) = proof.history
        assert words.startswith(
            "the lot first was cut off: it has 3 of the entries that it had, 4 entries when"
        )
        assert proof.history[0] in proof.differs
        assert exit_code_of_proof(proof) == 1
        assert proof_document(proof)["history_differs"] == list(proof.history)
        other = prove_lot(three, lot, against=load_requirement("iec-6-cable"))
        assert exit_code_of_proof(other) == 1
    assert prove_lot(three, "third").differs == ()
    # The next lot says so as well, for ever.
    view = opened(three, "fourth")
    assert any("the lot first was cut off" in words for words in view.doubts)
    assert ("lot-doubtful", path_of(three, "fourth").name) in findings(three)


def test_a_lot_that_was_decided_anew(three: Path) -> None:
    cut(three, "first", 1)
    close_lot(three, "first", by="somebody else")
    (words,) = prove_lot(three, "first").history
    assert words.startswith("the history of the lot first is another one")
    assert findings(three) == [("lot-cut", path_of(three, "first").name)]


def test_a_lot_that_is_gone(three: Path) -> None:
    kept = path_of(three, "first").read_bytes()
    path_of(three, "first").unlink()
    checked = check_whole_archive(three, jobs=1)
    assert exit_code_of_archive_check(checked) == 1
    assert [(each.kind, Path(each.source)) for each in checked.findings] == [
        ("lot-missing", path_of(three, "second"))
    ]
    assert "the lot first is not there any more" in prove_lot(three, "second").differs[0]
    with pytest.raises(UnknownName) as caught:
        prove_lot(three, "first")
    assert "There was one: the lot first is not there any more: it had 4 entries" in caught.value.hint
    with pytest.raises(LotRefused, match="it had 4 entries when the lot second was opened") as refused:
        opened(three, "first")
    assert "copy" in refused.value.hint
    assert not path_of(three, "first").exists()
    view = opened(three, "fourth")
    assert any("the lot first is not there any more" in words for words in view.doubts)
    path_of(three, "first").write_bytes(kept)
    assert findings(three) == [("lot-doubtful", path_of(three, "fourth").name)]


def test_a_damaged_lot_is_not_missing_and_stops_no_other(three: Path) -> None:
    path = path_of(three, "second")
    path.write_bytes(path.read_bytes().replace(b'"seed":"the', b'"seed":"The'))
    assert findings(three) == []
    # Switching rules cannot do without it: nobody knows of which series it is.
    with pytest.raises(RecordDamaged, match="line 2"):
        opened(three, "fourth")
    view = opened(
        three,
        "fourth",
        reels=[f"fourth-{number}" for number in range(20)],
        method="zero-acceptance",
        limiting_percent=10.0,
    )
    (words,) = [words for words in view.doubts if "cannot be read" in words]
    assert str(path) in words
    assert [each.lot for each in earlier(three, "fourth")] == ["first", "third"], (
        "the second one kept the first"
    )


def test_the_newest_lots_are_known_by_a_digest_on_paper_alone(three: Path) -> None:
    closed(three, "last", at=20)
    digest = read_lot(three, "last").digest
    assert (
        prove_lot(three, "last", digest=digest).kept == "names this history: all 4 entries are as they were"
    )
    shown = f" {digest[:32].upper()}\n{digest[32:40]} "
    assert exit_code_of_proof(prove_lot(three, "last", digest=shown)) == 0
    cut(three, "last", 1)
    assert prove_lot(three, "last").differs == (), "as README says"
    proof = prove_lot(three, "last", digest=digest)
    assert exit_code_of_proof(proof) == 1
    assert f"the digest {digest[:16]}… names no state of this history of 3 entries" in proof.differs[0]
    assert proof.kept == ""


def test_a_digest_of_before_the_last_entries(three: Path) -> None:
    digest = read_lot(three, "third").digest
    add_first(three, "third")
    proof = prove_lot(three, "third", digest=digest)
    assert proof.differs == ()
    assert (
        proof_document(proof)["digest_kept"]
        == "named the first 1 entries, which are as they were; 1 came since"
    )


@pytest.mark.parametrize("digest", ["abc", "x" * 20, "a" * 65, "0" * 15, " "])
def test_what_is_no_digest(three: Path, digest: str) -> None:
    with pytest.raises(UsageError, match="no digest") as caught:
        prove_lot(three, "first", digest=digest)
    assert "16" in caught.value.hint


def test_lots_of_version_1_are_kept_by_the_first_lot_of_version_2(tmp_path: Path) -> None:
    golden = Path(__file__).parents[2] / "archive" / "golden" / "lot-v1.txt"
    path = path_of(tmp_path, "26-118")
    path.parent.mkdir()
    path.write_bytes(golden.read_bytes())
    opened(tmp_path, "new")
    (seen,) = earlier(tmp_path, "new")
    # The digest of the golden file: see `tests/archive/test_golden_lot.py`.
    assert (seen.lot, seen.entries, seen.digest[:16]) == ("26-118", 7, "ee6820ed34621062")


def test_many_lots_are_kept_once_each(tmp_path: Path) -> None:
    """The length of a history does not grow with the number of lots before it."""
    view = opened(tmp_path, "0")
    for number in range(1, 12):
        create(tmp_path, renamed(view.state.opened, str(number)))
    opened(tmp_path, "x")
    opened(tmp_path, "y")
    assert [len(earlier(tmp_path, lot)) for lot in ("x", "y")] == [12, 1]


def renamed(first: LotOpened, lot: str) -> LotOpened:
    return replace(first, lot=lot)
