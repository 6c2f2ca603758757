"""Reels that are taken out of a sample: what was known of them, and the numbers of the draw."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchsweep.errors import LotRefused
from benchsweep.qualification import exclude_reel, lot_document, read_lot
from benchsweep.report import english, lot_table, pick_list, pick_list_document
from benchsweep.report.document import Section
from tests.cli.test_lot import BY as SAID_BY
from tests.cli.test_lot import FEW, OPEN, record_of, sample_of
from tests.qualification.lots.reels import BY, opened, result, told
from tests.report.content.told import tables_of

Run = Callable[..., Any]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "archive"


def test_a_conforming_result_is_taken_out_on_purpose_alone_and_told(folder: Path) -> None:
    state = opened(folder).state
    reel = state.sample[0]
    told(folder, "26-118", [result()], close=False)
    with pytest.raises(LotRefused) as caught:
        exclude_reel(folder, "26-118", reel, by=BY, reason="x")
    assert "was tested and conforms (pass)" in caught.value.message
    assert "--with-result" in caught.value.hint
    assert read_lot(folder, "26-118").state.excluded == ()
    view = exclude_reel(folder, "26-118", reel, by=BY, reason="x", with_result=True)
    (words,) = [each for each in view.doubts if "taken out" in each]
    assert words.startswith(
        f"a conforming result was taken out: {reel}, tested pass, was excluded by {BY} on "
    )
    assert words.endswith(": x")
    assert read_lot(folder, "26-118").doubts == view.doubts


@pytest.mark.parametrize("good", [None, "untested"])
def test_where_nothing_good_is_lost_a_reason_is_enough(folder: Path, good: str | None) -> None:
    reel = opened(folder).state.sample[0]
    if good is None:
        told(folder, "26-118", [result(good=None)], close=False)
    view = exclude_reel(folder, "26-118", reel, by=BY, reason="crushed")
    assert not any("taken out" in words for words in view.doubts)


def test_numbers_are_those_of_the_draw_whatever_is_excluded(folder: Path) -> None:
    before = opened(folder).state
    first, second, third, *_ = before.order
    assert before.drawn == ((1, first), (2, second))
    view = exclude_reel(folder, "26-118", first, by=BY, reason="crushed")
    state = view.state
    assert state.drawn == ((1, first), (2, second), (3, third))
    assert lot_document(view)["drawn"] == [
        {"number": 1, "reel": first, "excluded": True},
        {"number": 2, "reel": second, "excluded": False},
        {"number": 3, "reel": third, "excluded": False},
    ]
    status = lot_table(state)
    for number, reel, words in ((1, first, "excluded"), (2, second, "to be"), (3, third, "to be")):
        assert re.search(rf"^{number} +{reel} +{words}", status, re.MULTILINE), status
    listed = pick_list(state)
    assert f"--- 1 {first} excluded" in listed
    assert f"[ ] 3 {third}" in listed
    assert f"for a reel that is excluded: {state.order[3]} (no. 4), {state.order[4]} (no. 5)" in " ".join(
        listed.split()
    )
    fetch, spares = tables_of(Section(("",), pick_list_document(state, english()).blocks))
    assert [(row[1], row[2]) for row in fetch[1:]] == [("1", first), ("2", second), ("3", third)]
    assert fetch[1][-1] == "excluded: do not fetch it"
    assert [(row[1], row[2]) for row in spares[1:]] == [
        (str(number), reel) for number, reel in enumerate(state.order[3:8], start=4)
    ]


def test_a_test_again_of_a_good_reel_says_that_it_replaces_a_pass(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    first, second = sample_of(run)
    assert run("lot", "add", "26-118", record_of(first), record_of(second), *SAID_BY).code == 0
    refused = run("lot", "add", "26-118", record_of(first, at=1), *SAID_BY)
    assert refused.code == 2
    assert "--retest" in refused.err
    again = run("lot", "add", "26-118", record_of(first, at=2), "--retest", "loose", *SAID_BY)
    assert again.code == 0
    assert f"{first} conformed before: this result replaces a pass" in again.err
    status = " ".join(run("lot", "status", "26-118").out.split())
    assert f"tested {first} again, which replaces a pass (pass before, pass now): loose" in status
    assert run("lot", "exclude", "26-118", second, "--reason", "x", *SAID_BY).code == 2
    gone = run("lot", "exclude", "26-118", second, "--reason", "x", "--with-result", *SAID_BY)
    assert gone.code == 0, gone.err
    third = sample_of(run)[1]
    assert run("lot", "add", "26-118", record_of(third), *SAID_BY).code == 0
    assert run("lot", "close", "26-118", *SAID_BY).code == 0
    told_of = run("lot", "status", "26-118").out
    assert told_of.splitlines()[1].startswith("doubtful     a conforming result was taken out: ")
    assert run("lot", "report", "26-118", "-o", "lot.html").code == 0
    page = Path("lot.html").read_text(encoding="utf-8")
    assert f"a conforming result was taken out: {second}, tested pass" in page
