"""What is printed of a lot: pick list, report, process."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from tests.cli.test_lot import BY, FEW, OPEN, record_of, sample_of

Run = Callable[..., Any]


def printed_words(path: Path) -> str:
    """Words of a PDF, read by another program than the one that wrote it."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


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


def test_what_was_corrected_of_a_record_stands_in_the_report(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    first, second = sample_of(run)
    wrong = record_of(first, product="C5")
    assert run("lot", "add", "26-118", wrong, *BY).code == 2
    why = ("--reason", "typed wrong at the bench", *BY)
    assert run("archive", "correct", wrong, "--product", "C6-23", *why).code == 0
    assert run("archive", "correct", wrong, "--temperature-degc", "21.5", *why).code == 0
    assert run("lot", "add", "26-118", wrong, record_of(second), *BY).code == 0
    assert run("lot", "close", "26-118", *BY).code == 0
    assert run("lot", "report", "26-118", "-o", "lot.html", "-o", "lot.pdf").code == 0
    told = re.sub(r"<[^>]+>", "", Path("lot.html").read_text(encoding="utf-8"))
    page = " ".join(html.unescape(told).split())
    head = page.index("What happened to the sample", page.index("told below") + 10)
    assert page.index(f"record of {first}: corrected by R. Lind on ") > head
    assert "(typed wrong at the bench): product 'C6-23' instead of 'C5'" in page
    assert re.search(r"temperature_degc 21.5\D{0,6} instead of 20", page)
    printed = printed_words(Path("lot.pdf"))
    assert "instead of 'C5'" in printed
    assert re.search(r"temperature_degc 21.5\D{0,6} instead of 20", printed)
