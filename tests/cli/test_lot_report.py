"""What is printed of a lot: pick list, report, process."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.cli.test_lot import BY, FEW, OPEN, record_of, sample_of

Run = Callable[..., Any]


def test_the_report_of_a_lot(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    sample = sample_of(run)
    opened = run("lot", "report", "26-118", "-o", "open.html")
    assert opened.code == 0, opened.err
    assert run("lot", "add", "26-118", *map(record_of, sample), *BY).code == 0
    assert run("lot", "close", "26-118", *BY).code == 0
    report = run("lot", "report", "26-118", "-o", "lot.html", "-o", "lot.pdf", "--number", "2026-7")
    assert report.code == 0, report.err
    assert report.out.splitlines() == ["report lot.html", "report lot.pdf"]
    assert Path("lot.pdf").read_bytes().startswith(b"%PDF")
    page = Path("lot.html").read_text(encoding="utf-8")
    for word in ("26-118", "Tollmoor Wire", "C6-23", "2026-7", *sample, "accepted"):
        assert word in page
    assert run("lot", "report", "26-118", "-o", "lot.txt").code == 2
    assert run("lot", "report", "26-999", "-o", "lot.html").code == 2


def test_a_pick_list_is_printed(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    told = run("lot", "draw", "26-118", "-o", "pick.html", "-o", "pick.pdf")
    assert told.code == 0, told.err
    page = Path("pick.html").read_text(encoding="utf-8")
    for reel in sample_of(run):
        assert reel in page
        assert reel in told.out
    assert Path("pick.pdf").read_bytes().startswith(b"%PDF")


def test_charts_are_printed(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    assert run("lot", "add", "26-118", *map(record_of, sample_of(run)), *BY).code == 0
    told = run("lot", "process", "--product", "C6-23", "-o", "process.html", "-o", "process.pdf")
    assert told.code == 0, told.err
    assert "insertion loss" in Path("process.html").read_text(encoding="utf-8")
