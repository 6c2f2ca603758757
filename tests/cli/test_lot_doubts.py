"""What is wrong with lots, as it is told at the command line: damaged files, and what happened afterwards."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_lot import BY, FEW, OPEN, record_of, sample_of

Run = Callable[..., Any]


@pytest.fixture
def lots(run: Run, own_home: Path) -> dict[str, Path]:
    """Three lots that are open."""
    for lot in ("26-1", "26-2", "26-3"):
        assert run("lot", "open", lot, *OPEN, *FEW).code == 0
    return {lot: Path(run("lot", "status", lot, "--json").json["path"]) for lot in ("26-1", "26-2", "26-3")}


def test_a_damaged_lot_hides_no_other_one(run: Run, lots: dict[str, Path]) -> None:
    assert run("lot", "list", "--json").json["damaged"] == []
    spoilt, broken = lots["26-2"], lots["26-3"]
    spoilt.write_bytes(spoilt.read_bytes().replace(b"the seed", b"The seed"))
    broken.unlink()
    broken.mkdir()
    listed = run("lot", "list")
    assert listed.code == 6
    assert "26-1" in listed.out
    told = " ".join(listed.err.split())
    assert f"not listed, it cannot be read: {spoilt}: line 2: its checksum" in told
    assert f"{broken}: not a file but a folder" in told
    assert ".h5" not in told
    document = run("lot", "list", "--json")
    assert document.code == 6
    assert [each["lot"] for each in document.json["lots"]] == ["26-1"]
    assert [each["path"] for each in document.json["damaged"]] == [str(spoilt), str(broken)]
    # Nobody knows of which supplier they were.
    assert run("lot", "list", "--supplier", "Another").code == 6
    status = run("lot", "status", "26-1")
    assert status.code == 3
    assert "nobody knows how the next lot is to be inspected" in " ".join(status.out.split())


def closed_lot(run: Run) -> dict[str, Any]:
    """An accepted lot of two reels; its document."""
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    records = [record_of(reel, at=number) for number, reel in enumerate(sample_of(run))]
    assert run("lot", "add", "26-118", *records, *BY).code == 0
    assert run("lot", "close", "26-118", *BY).code == 0
    document: dict[str, Any] = run("lot", "status", "26-118", "--json").json
    return document


def flat(text: str) -> str:
    return " ".join(text.split())


def test_a_record_withdrawn_after_closing_stands_at_the_head(run: Run, own_home: Path) -> None:
    before = closed_lot(run)
    record = before["results"][0]["record"]
    why = ("--reason", "taken for another", *BY)
    assert run("archive", "correct", Path("archive", record), "--withdraw", *why).code == 0
    status = run("lot", "status", "26-118")
    assert status.code == 0, "the decision itself is not another one"
    decision, doubtful, *_ = status.out.splitlines()
    assert decision.startswith("decision     accepted: ")
    reel = before["sample"][0]
    assert doubtful.startswith(f"doubtful     {reel}: the record was withdrawn by R. Lind on ")
    assert "the decision stands on it" in flat(status.out)
    document = run("lot", "status", "26-118", "--json").json
    assert "taken for another" in document["doubts"][0]
    assert document["digest"] == before["digest"]
    assert run("lot", "report", "26-118", "-o", "lot.html").code == 0
    page = flat(Path("lot.html").read_text(encoding="utf-8"))
    words = f"{reel}: the record was withdrawn by R. Lind"
    head = page.index('id="doubts"')
    assert head < page.index(words) < page.index("MIL-STD-105E", head), "before the plan"
    process = run("lot", "process", "--product", "C6-23", "--parameter", "next", "--json").json
    assert [each["reel"] for each in process["views"][0]["values"]] == [before["sample"][1]]
    assert (
        f"left out, for their records were withdrawn: {reel} of the lot 26-118"
        in process["views"][0]["notes"][0]
    )
    shown = run("lot", "process", "--product", "C6-23", "--parameter", "next")
    assert "for their records were withdrawn" in flat(shown.out)


def test_a_record_of_another_lot_and_a_digest_on_paper(run: Run, own_home: Path) -> None:
    digest = closed_lot(run)["digest"]
    record = Path("archive", run("lot", "status", "26-118", "--json").json["results"][0]["record"])
    assert run("lot", "open", "26-119", *OPEN, *FEW).code == 0
    refused = run("lot", "add", "26-119", record, *BY)
    assert refused.code == 2
    assert "counts already, as the result of" in flat(refused.err)
    assert "in the lot 26-118" in flat(refused.err)
    taken = run("lot", "add", "26-119", record, *BY, "--reuse", "came back untouched")
    assert taken.code == 0
    assert "its record counts in the lot 26-118, too: came back untouched" in flat(taken.err)
    for lot in ("26-118", "26-119"):
        told = run("lot", "status", lot)
        assert "came back untouched" in flat(told.out)
    checked = run("archive", "check")
    assert checked.code == 1
    assert "records that count in two lots" in flat(checked.out)

    same = run("lot", "prove", "26-118", "--digest", digest)
    assert same.code == 0
    assert "the one that was kept names this history: all 4 entries are as they were" in flat(same.out)
    path = Path(run("lot", "status", "26-118", "--json").json["path"])
    whole = path.read_bytes()
    path.write_bytes(b"".join(whole.splitlines(keepends=True)[:-1]))
    # The lot that was opened later kept what this one was, and the paper as well.
    cut = run("lot", "prove", "26-118", "--digest", digest[:16])
    assert cut.code == 1
    assert "names no state of this history" in flat(cut.out)
    assert "the lot 26-118 was cut off" in flat(cut.out)
    assert "lots that are not what later ones saw" in flat(run("archive", "check").out)
    path.unlink()
    gone = run("lot", "prove", "26-118")
    assert gone.code == 2
    assert "There was one" in flat(gone.err)
    assert "lots that are not there any more" in flat(run("archive", "check").out)
    assert run("lot", "prove", "26-119", "--digest", "xyz").code == 2
