"""A PDF takes the place of an older PDF of ours, and of nothing else."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from benchsweep.errors import UsageError
from benchsweep.report import check_target, write_pdf

OTHER_PDF = (
    b"%PDF-1.7\n1 0 obj\n<</Type/Catalog/Keywords(benchsweep)>>\nendobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
)


QUOTES_OURS = OTHER_PDF.replace(b"%%EOF", b"stream /Keywords(benchsweep report) endstream\n%%EOF")


def moved(old: bytes) -> bytes:
    """A PDF of another program that shows the objects of one of ours: it tells other things of itself."""
    return old.replace(b"/Keywords(benchsweep report)", b"/Keywords(benchsweep_report)") + (
        b"\n% /Keywords(benchsweep report)\n"
    )


@pytest.fixture
def made(pdf):
    return pdf.document(title=("new",))


def test_a_new_file_in_a_new_folder(made, tmp_path, pdf):
    path = tmp_path / "deep" / "er" / "report.pdf"
    assert write_pdf(path, made) == path
    assert pdf.read(path.read_bytes()).metadata.title == "new"
    assert [one.name for one in path.parent.iterdir()] == ["report.pdf"]


@pytest.mark.parametrize("name", ["report.pdf", "REPORT.PDF"])
def test_an_older_report_is_replaced(made, tmp_path, pdf, name):
    path = write_pdf(tmp_path / name, pdf.document(title=("old",)))
    check_target(path)
    write_pdf(path, made)
    assert pdf.read(path.read_bytes()).metadata.title == "new"


def test_a_large_older_report_is_known(made, tmp_path, pdf):
    from benchsweep.report.document import Paragraph

    path = write_pdf(tmp_path / "r.pdf", pdf.document(*[Paragraph((f"line {n}",)) for n in range(4000)]))
    assert path.stat().st_size > 200_000
    write_pdf(path, made)
    assert path.stat().st_size < 100_000


@pytest.mark.parametrize(
    "content",
    [
        OTHER_PDF,
        QUOTES_OURS,
        QUOTES_OURS.replace(b"%%EOF", b"startxref\n9\n%%EOF"),
        b"<!doctype html>old",
        b"benchsweep record 1\n",
        b"\x00",
        b"notes",
        b"%PDF",
    ],
)
def test_any_other_file_stays(made, tmp_path, content):
    path = tmp_path / "r.pdf"
    path.write_bytes(content)
    for refused in (lambda: write_pdf(path, made), lambda: check_target(path)):
        with pytest.raises(UsageError) as caught:
            refused()
        assert caught.value.exit_code == 2
        assert "report.pdf" in (caught.value.hint or "")
    assert path.read_bytes() == content
    assert [one.name for one in tmp_path.iterdir()] == ["r.pdf"]


def test_a_pdf_that_only_quotes_the_keyword_stays(made, tmp_path, pdf):
    path = write_pdf(tmp_path / "r.pdf", made)
    path.write_bytes(content := moved(path.read_bytes()))
    with pytest.raises(UsageError, match="no PDF report of benchsweep"):
        check_target(path)
    assert path.read_bytes() == content


def test_a_pdf_where_a_page_is_to_stand_stays(made, tmp_path):
    path = write_pdf(tmp_path / "r.pdf", made)
    page = path.rename(tmp_path / "r.html")
    with pytest.raises(UsageError, match="no HTML report"):
        check_target(page)


def test_an_empty_file_is_filled(made, tmp_path):
    path = tmp_path / "r.pdf"
    path.touch()
    assert write_pdf(path, made).read_bytes().startswith(b"%PDF-")


def test_one_that_cannot_be_finished_leaves_the_old_one(made, tmp_path, monkeypatch, pdf):
    path = write_pdf(tmp_path / "r.pdf", pdf.document(title=("old",)))
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="No space left"):
        write_pdf(path, made)
    assert path.read_bytes() == before
    assert [one.name for one in Path(tmp_path).iterdir()] == ["r.pdf"]
