"""A comparison made again from what was kept: the same, and what is changed afterwards is found."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep.archive.references import kept_name
from benchsweep.errors import RecordDamaged, UsageError
from benchsweep.qualification import correct
from benchsweep.qualification.comparisons import (
    FieldTesterView,
    comparison_proof_document,
    prove_comparison,
    read_tester,
)
from tests.qualification.comparisons.made import (
    BY,
    TESTER,
    compared,
    constant,
    with_records,
    with_tester,
)


@pytest.fixture
def kept(tmp_path: Path) -> FieldTesterView:
    """A tester that was compared twice; its file, mapping and statement are gone from where they were."""
    with_records(tmp_path)
    with_tester(tmp_path)
    compared(tmp_path, constant(0.3))
    view = compared(tmp_path, constant(4.0))
    (tmp_path / "told.csv").unlink()
    (tmp_path / "statement.toml").unlink()
    return view


def test_it_is_the_same_again(kept: FieldTesterView) -> None:
    folder = Path(str(kept.folder))
    for number, event in enumerate(kept.compared, start=1):
        proof = prove_comparison(folder, TESTER, number=number)
        assert (proof.differs, proof.number) == ((), number)
        # To the last digit. How old the bench record was is of that day.
        assert replace(proof.now, doubts=()) == replace(event.comparison, doubts=())
        assert proof.was == event.comparison
    assert prove_comparison(folder, TESTER).number == 2
    document = comparison_proof_document(prove_comparison(folder, TESTER))
    assert (document["same"], document["now"]["outcome"]) == (True, "disagrees")


def test_the_digest_of_a_report_is_that_of_an_entry(kept: FieldTesterView) -> None:
    folder = Path(str(kept.folder))
    assert prove_comparison(folder, TESTER, digest=kept.digest).differs == ()
    before = kept.digest
    compared(folder)
    assert read_tester(folder, TESTER).digest != before
    assert prove_comparison(folder, TESTER, number=2, digest=before[:16].upper()).differs == ()
    assert "no entry" in prove_comparison(folder, TESTER, digest="0" * 64).differs[0]


def test_a_history_whose_end_is_gone_is_another_one(kept: FieldTesterView) -> None:
    folder = Path(str(kept.folder))
    lines = Path(str(kept.path)).read_bytes().splitlines(keepends=True)
    Path(str(kept.path)).write_bytes(b"".join(lines[:-1]))
    assert "no entry" in prove_comparison(folder, TESTER, digest=kept.digest).differs[0]


def test_what_is_corrected_afterwards_shows(kept: FieldTesterView) -> None:
    folder = Path(str(kept.folder))
    record = folder / kept.compared[0].comparison.record
    correct(record, {}, by=BY, reason="the cable was bent", withdrawn=True)
    proof = prove_comparison(folder, TESTER)
    assert proof.differs == ()
    assert any("bent" in doubt for doubt in proof.doubts)


def test_a_changed_or_lost_file_is_an_error(kept: FieldTesterView) -> None:
    folder = Path(str(kept.folder))
    path = folder / kept_name(kept.compared[-1].file)
    content = path.read_bytes()
    path.write_bytes(content.replace(b"1", b"2", 1))
    with pytest.raises(RecordDamaged, match="not those that were kept"):
        prove_comparison(folder, TESTER)
    path.unlink()
    with pytest.raises(RecordDamaged, match="not there any more"):
        prove_comparison(folder, TESTER)


def test_another_text_of_the_requirement_changes_nothing(
    kept: FieldTesterView, monkeypatch: pytest.MonkeyPatch
) -> None:
    from benchsweep.limits import load_requirement

    folder = Path(str(kept.folder))
    (folder / "requirements").mkdir()
    text = load_requirement("tia-6-channel").texts[0]
    (folder / "requirements" / "tia-6-channel.toml").write_text(text + "\n# a later edition\n")
    monkeypatch.chdir(folder)
    proof = prove_comparison(folder, TESTER)
    assert proof.differs == ()
    assert any("another text now" in doubt for doubt in proof.doubts)


def test_no_such_comparison(kept: FieldTesterView) -> None:
    folder = Path(str(kept.folder))
    with pytest.raises(UsageError, match="no comparison 3"):
        prove_comparison(folder, TESTER, number=3)
    with_tester(folder, "FT-08")
    with pytest.raises(UsageError, match="not compared yet"):
        prove_comparison(folder, "FT-08")
