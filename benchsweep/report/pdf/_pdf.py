"""A document as a PDF file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from benchsweep.report._target import check_target, replace_page
from benchsweep.report.document import Document
from benchsweep.report.pdf._data import document_data, words_in
from benchsweep.report.pdf._glyphs import fonts_for

__all__ = ["pdf_bytes", "write_pdf"]

_PAGE = Path(__file__).with_name("page.typ")
_ACCESSIBLE: Final = "ua-1"


def write_pdf(path: Path, document: Document) -> Path:
    """Write a report as a PDF of A4 pages and return its path.

    A tagged PDF after ISO 14289-1:2014 (PDF/UA-1), checked as far as typst checks it: with title, language,
    outline, heads of tables, and words for every chart. It has the fonts it needs and no date of its own. An
    older PDF report is replaced as a whole, any other file never.

    Parameters
    ----------
    path
        The file; its folder is made when it is missing.
    document
        What is printed. The same document gives the same bytes.

    Raises
    ------
    UsageError
        The file cannot be written there, or something else than a report is there.
    """
    path = Path(path)
    check_target(path)
    replace_page(path, pdf_bytes(document))
    return path


def pdf_bytes(document: Document) -> bytes:
    """Return the PDF of a document.

    Scripts: Latin, Greek, Cyrillic and some others are printed with the fonts that come with typst. Names in
    other scripts need a font of the machine: on another one the bytes may then differ. A character that no
    font has is printed as its number (``[U+4E2D]``): nothing gets lost, and no box stands for it.
    """
    data = document_data(document, {})
    fonts, missing = fonts_for(frozenset().union(*words_in(data)))
    return _compiled(document_data(document, missing) if missing else data, fonts)


def _compiled(data: dict[str, Any], fonts: Any) -> bytes:
    # Imported here: it is large, and no other command needs it.
    import typst

    printer = typst.Compiler(
        _PAGE,
        root=_PAGE.parent,
        font_paths=fonts,
        ignore_system_fonts=True,
        sys_inputs={"document": json.dumps(data, ensure_ascii=False, separators=(",", ":"))},
    )
    try:
        made = printer.compile(format="pdf", pdf_standards=_ACCESSIBLE, timestamp=0)
    except typst.TypstError as error:
        if "PDF/UA" not in error.message:
            raise
        # What the standard does not allow is still a report: tagged, but it does not claim the standard.
        made = printer.compile(format="pdf", timestamp=0)
    if not isinstance(made, bytes):
        raise TypeError("typst gave several files where one PDF was asked for")
    return made
