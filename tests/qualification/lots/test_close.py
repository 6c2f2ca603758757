"""A lot is decided on records that are there and say what they said; then nothing changes any more."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import ArchiveError, LotRefused, RecordDamaged
from benchsweep.limits import load_requirement
from benchsweep.qualification import (
    LotProof,
    LotView,
    add_record,
    close_lot,
    correct,
    exclude_reel,
    exit_code_of_lot,
    exit_code_of_proof,
    lot_traces,
    proof_document,
    prove_lot,
    read_lot,
    replan_lot,
)
from benchsweep.records import Parameter
from tests.archive.test_no_file import at_once
from tests.qualification.lots.reels import BY, GRID, loss_limit_db, names, opened, record_of
from tests.qualification.lots.test_add import SAMPLE, finite, own_requirement


def both_reels(folder: Path, *, first: float = 0.95, **how: object) -> tuple[LotView, dict[str, Path]]:
    """A lot of which both reels of the sample were tested."""
    view = opened(folder, **how)
    records = {
        reel: record_of(folder, reel, loss=first if reel == view.state.sample[0] else 0.95)
        for reel in view.state.sample
    }
    for record in records.values():
        view, _ = add_record(folder, view.name, record, by=BY)
    return view, records


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "archive"


def test_a_good_lot_is_accepted_and_nothing_can_be_changed(folder: Path) -> None:
    both_reels(folder)
    view = close_lot(folder, "26-118", by=BY)
    assert view.state.closed is not None
    assert view.state.closed.words == "accepted: 0 reels of 2 do not conform, Ac is 0"
    assert exit_code_of_lot(view) == 0
    again = record_of(folder, "R001", at=1)
    for act in (
        lambda: close_lot(folder, "26-118", by=BY),
        lambda: add_record(folder, "26-118", again, by=BY, retest_reason="to be sure"),
        lambda: exclude_reel(folder, "26-118", "R001", by=BY, reason="a mistake"),
        lambda: replan_lot(folder, "26-118", by=BY, reason="a mistake", aql_percent=4.0),
    ):
        with pytest.raises(LotRefused, match="closed"):
            act()
    assert read_lot(folder, "26-118").digest == view.digest


def test_a_bad_reel_makes_a_lot_that_is_not_accepted(folder: Path) -> None:
    both_reels(folder, first=1.05)
    view = close_lot(folder, "26-118", by=BY)
    assert view.state.closed is not None
    assert view.state.closed.nonconforming == ("R001",)
    assert exit_code_of_lot(view) == 1


def test_a_lot_with_samples_missing_stays_open(folder: Path) -> None:
    opened(folder)
    add_record(folder, "26-118", record_of(folder, "R001"), by=BY)
    with pytest.raises(LotRefused, match="1 of 2 reels has no result yet: R006"):
        close_lot(folder, "26-118", by=BY)
    assert read_lot(folder, "26-118").state.closed is None


def flip(record: Path) -> None:
    data = bytearray(record.read_bytes())
    data[len(data) // 2] ^= 1
    record.write_bytes(data)


def other(record: Path) -> None:
    """Another record of the same reel takes its name."""
    record_of(record.parent / "elsewhere", "R001", loss=0.9).replace(record)


MEDDLED: dict[str, tuple[Callable[[Path], object], str]] = {
    "deleted": (lambda record: record.unlink(), "not there any more"),
    "flipped": (flip, "checksum"),
    "replaced": (other, "another content"),
    "withdrawn": (
        lambda record: correct(record, {}, by=BY, reason="a loose connector", withdrawn=True),
        "was withdrawn by R. Lind",
    ),
    "of another reel": (
        lambda record: correct(record, {"identifier": "R002"}, by=BY, reason="labels exchanged"),
        "is now of the reel R002, not R001",
    ),
    "of another product": (
        lambda record: correct(record, {"product": "C5-24"}, by=BY, reason="another drum"),
        "is now of the product C5-24",
    ),
    "of another length": (
        lambda record: correct(record, {"length_m": 90.0}, by=BY, reason="measured again"),
        "the length was 100 m, now it is 90 m",
    ),
    "warmer": (
        lambda record: correct(record, {"ambient.temperature_degc": 30.0}, by=BY, reason="read wrong"),
        "the temperature was 20 degC, now it is 30 degC",
    ),
}


@pytest.mark.parametrize(("meddle", "words"), MEDDLED.values(), ids=MEDDLED.keys())
def test_records_that_are_not_what_was_added_keep_a_lot_open_and_are_found_later(
    folder: Path, tmp_path: Path, meddle: Callable[[Path], object], words: str
) -> None:
    _, records = both_reels(folder)
    shutil.copytree(folder, tmp_path / "closed")
    close_lot(tmp_path / "closed", "26-118", by=BY)
    meddle(records["R001"])
    with pytest.raises(LotRefused) as refused:
        close_lot(folder, "26-118", by=BY)
    assert words in refused.value.message
    assert "R001: " in refused.value.message
    assert read_lot(folder, "26-118").state.closed is None

    meddle(tmp_path / "closed" / records["R001"].name)
    proof = prove_lot(tmp_path / "closed", "26-118")
    assert exit_code_of_proof(proof) == 1
    assert any(words in each for each in proof.differs)
    assert proof.reels["R001"].words
    assert not proof.reels["R006"].words


def test_a_record_corrected_after_it_was_added_can_be_added_again_with_the_reason(folder: Path) -> None:
    _, records = both_reels(folder)
    correct(records["R001"], {"length_m": 90.0}, by=BY, reason="measured again")
    view, added = add_record(folder, "26-118", records["R001"], by=BY, retest_reason="length corrected")
    # 100 m have 100/90 of the loss: beyond the limit.
    assert added.result.conforms is False
    assert view.state.nonconforming == ("R001",)
    assert exit_code_of_lot(close_lot(folder, "26-118", by=BY)) == 1


def test_a_correction_that_says_nothing_of_the_result_does_no_harm(folder: Path) -> None:
    _, records = both_reels(folder)
    correct(records["R001"], {"operator": "M. Olson"}, by=BY, reason="spelling")
    assert exit_code_of_lot(close_lot(folder, "26-118", by=BY)) == 0


def test_a_lot_is_closed_and_proved_with_the_requirement_of_its_opening(folder: Path) -> None:
    own_requirement()
    both_reels(folder, requirement=load_requirement("own-cable"))
    own_requirement(lambda text: text.replace("1.808", "1.008"))  # far less loss allowed
    view = close_lot(folder, "26-118", by=BY)
    assert exit_code_of_lot(view) == 0
    assert "another text now" in view.doubts[0]
    assert exit_code_of_proof(prove_lot(folder, "26-118")) == 0
    Path("requirements/own-cable.toml").unlink()
    assert exit_code_of_proof(prove_lot(folder, "26-118")) == 0


def test_a_variant_is_read_again_from_the_texts_that_were_kept(folder: Path) -> None:
    own_requirement()
    base = Path("requirements/own-cable.toml")
    variant = Path("requirements/ours.toml")
    variant.write_text('schema = 1\nname = "ours"\nbase = "own-cable"\ntitle = "Ours"\n', encoding="utf-8")
    both_reels(folder, requirement=load_requirement("ours"))
    base.unlink()
    variant.unlink()
    assert exit_code_of_proof(prove_lot(folder, "26-118")) == 3, "the same, but open"


def test_against_another_requirement_the_decision_is_another_one(folder: Path) -> None:
    both_reels(folder)
    close_lot(folder, "26-118", by=BY)
    same = prove_lot(folder, "26-118")
    assert not same.differs
    assert same.decision.words == "accepted: 0 reels of 2 do not conform, Ac is 0"
    # 5 % below the limit of category 6 is far above that of category 6A from some frequency on.
    proof = prove_lot(folder, "26-118", against=load_requirement("tia-5e-cable"))
    document = proof_document(proof)
    finite(document)
    assert document["schema"] == "benchsweep.lot-proof/1"
    assert document["requirement"] == "tia-5e-cable"
    assert (document["same"], document["against"]) == (None, True)
    assert proof.decision.accepted is True
    own_requirement(lambda text: text.replace("1.808", "1.008"))
    proof = prove_lot(folder, "26-118", against=load_requirement("own-cable"))
    assert proof.other_outcome == SAMPLE
    assert proof.decision.accepted is False
    assert exit_code_of_proof(proof) == 1
    assert read_lot(folder, "26-118").state.closed is not None


def test_an_open_lot_can_be_proved_too(folder: Path) -> None:
    opened(folder)
    proof = prove_lot(folder, "26-118")
    assert (proof.decision.accepted, proof.differs, dict(proof.reels)) == (None, (), {})
    assert exit_code_of_proof(proof) == 3, "nothing was decided yet"


def test_by_variables_the_margins_decide(folder: Path) -> None:
    # 8 reels at level IV and AQL 2.5: letter B, n = 3, k = 1.12 (MIL-STD-414, Tables A-2 and B-1).
    view = opened(folder, method="variables", aql_percent=2.5, characteristics=("insertion_loss",))
    assert view.state.plan.sample_size == 3
    losses = (0.950, 0.940, 0.945)
    for reel, loss in zip(view.state.sample, losses, strict=True):
        view, _ = add_record(folder, "26-118", record_of(folder, reel, loss=loss), by=BY)
    margins = (1.0 - np.array(losses)) * loss_limit_db(GRID).min()
    (found,) = view.variables
    assert found.quality == pytest.approx(margins.mean() / margins.std(ddof=1), rel=1e-6)
    closed = close_lot(folder, "26-118", by=BY).state.closed
    assert closed is not None
    assert closed.accepted is True
    assert closed.variables == view.variables
    assert exit_code_of_proof(prove_lot(folder, "26-118")) == 0


def test_a_history_that_breaks_its_rules_is_told(folder: Path) -> None:
    view, _ = both_reels(folder)
    path = Path(str(view.path))
    path.write_bytes(path.read_bytes().replace(b"R001", b"R009", 1))
    with pytest.raises(RecordDamaged):
        read_lot(folder, "26-118")


def test_traces_are_those_of_the_worst_margins(folder: Path) -> None:
    view, _ = both_reels(folder, first=1.05)
    found = lot_traces(view)
    assert tuple(found.reels) == SAMPLE
    assert not found.notes
    loss = next(each for each in found.reels["R001"] if each.parameter is Parameter.INSERTION_LOSS)
    limit = found.limits[Parameter.INSERTION_LOSS]
    worst = view.state.counting["R001"].result.margin_of(Parameter.INSERTION_LOSS)
    assert worst is not None
    assert (
        np.interp(loss.frequency_hz, limit.frequency_hz, limit.value) - loss.value
    ).min() == pytest.approx(worst.margin, abs=1e-9)


def test_a_large_sample_is_named_in_few_words(folder: Path) -> None:
    opened(folder, reels=names(60), aql_percent=1.0)
    with pytest.raises(LotRefused, match="and 7 more"):
        close_lot(folder, "26-118", by=BY)


def test_labels_that_were_exchanged_are_put_right(folder: Path) -> None:
    _, records = both_reels(folder, first=1.05)
    correct(records["R001"], {"identifier": "R006"}, by=BY, reason="labels exchanged")
    correct(records["R006"], {"identifier": "R001"}, by=BY, reason="labels exchanged")
    why = "labels exchanged"
    with pytest.raises(LotRefused, match="in the lot already, as the result of R001"):
        add_record(folder, "26-118", records["R001"], by=BY, retest_reason=why)
    third = record_of(folder, "R001", at=2)
    add_record(folder, "26-118", third, by=BY, retest_reason=why)
    view, added = add_record(folder, "26-118", records["R001"], by=BY, retest_reason=why)
    assert added.reel == "R006"
    assert view.state.nonconforming == ("R006",)
    assert exit_code_of_lot(close_lot(folder, "26-118", by=BY)) == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are files of Unix")
def test_a_pipe_in_place_of_a_record_is_told_and_not_waited_for(folder: Path) -> None:
    _, records = both_reels(folder)
    records["R001"].unlink()
    os.mkfifo(records["R001"])
    refused = at_once(lambda: close_lot(folder, "26-118", by=BY), LotRefused)
    assert isinstance(refused, LotRefused)
    assert "R001: " in refused.message
    assert "not a file but a pipe" in refused.message
    proof = at_once(lambda: prove_lot(folder, "26-118"))
    assert isinstance(proof, LotProof)
    assert any("not a file but a pipe" in words for words in proof.differs)
    added = at_once(lambda: add_record(folder, "26-118", records["R001"], by=BY, retest_reason="again"))
    assert isinstance(added, ArchiveError)
