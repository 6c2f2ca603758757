"""PDFs read back by pypdf: another program than the one that wrote them."""

from __future__ import annotations

import io
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from pypdf import PageObject, PdfReader

from benchsweep.report.chart import Picture
from benchsweep.report.document import Block, Document, Line
from benchsweep.report.pdf import pdf_bytes

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 547 230" role="img" aria-label="NEXT" '
    'class="chart" font-family="Helvetica Neue, Arial, Liberation Sans, sans-serif" font-size="9">'
    '<rect x="40" y="20" width="460" height="180" fill="none" stroke="#333333"/>'
    '<path d="M40 40l50 20 60 10 80 30" fill="none" stroke="#1b6ca8" stroke-dasharray="4 2"/>'
    '<text x="503" y="163">{words}</text></svg>'
)


def document(*blocks: Block, title: Line = ("Test report",), **changes: Any) -> Document:
    given = {
        "number": "R-2026-0042",
        "language": "en",
        "running": ("Laboratory of cords",),
        "end": "End of report R-2026-0042",
        "page_words": "page {page} of {pages}",
        "controls": {},
    }
    return Document(title=title, blocks=blocks, **(given | changes))


def picture(words: str = "12-36", alt: str = "NEXT of all pairs over frequency") -> Picture:
    return Picture("next", alt, SVG.format(words=words))


def read(made: Document | bytes) -> PdfReader:
    return PdfReader(io.BytesIO(made if isinstance(made, bytes) else pdf_bytes(made)))


def text(made: Document | PdfReader) -> str:
    """All its words, one line after the other."""
    reader = made if isinstance(made, PdfReader) else read(made)
    return "\n".join(page.extract_text() for page in reader.pages)


def joined(made: Document | PdfReader) -> str:
    """All its words without white space: where lines end does not matter."""
    return "".join(text(made).split())


def tagged(reader: PdfReader, kind: str) -> list[Any]:
    """The structure elements of one kind."""
    found = []

    def walk(node: Any) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for one in node:
                walk(one)
        elif isinstance(node, dict):
            if node.get("/S") == kind:
                found.append(node)
            if "/K" in node:
                walk(node["/K"])

    walk(reader.trailer["/Root"]["/StructTreeRoot"])
    return found


def runs(page: PageObject) -> Iterator[tuple[float, float, float]]:
    """Left end, right end and base line of each run of letters, in points (ISO 32000-1, 9.4.4)."""
    fonts = {name: _widths(font.get_object()) for name, font in page["/Resources"]["/Font"].items()}
    found: list[tuple[float, float, float]] = []
    state: dict[str, Any] = {}

    def before(operator: bytes, operands: list[Any], cm: list[float], tm: list[float]) -> None:
        if operator == b"Tf":
            state["font"], state["size"] = fonts[operands[0]], float(operands[1])
        if operator not in (b"Tj", b"TJ"):
            return
        pieces = operands[0] if operator == b"TJ" else operands
        width = 0.0
        for piece in pieces:
            if isinstance(piece, (int, float)):
                width -= float(piece)
                continue
            data = piece if isinstance(piece, bytes) else piece.original_bytes
            codes = [int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2)]
            width += sum(state["font"].get(code, 0.0) for code in codes)
        along = width / 1000 * state["size"]
        ends = [(x * tm[0] + tm[4], x * tm[1] + tm[5]) for x in (0.0, along)]
        (x0, y0), (x1, y1) = [(x * cm[0] + y * cm[2] + cm[4], x * cm[1] + y * cm[3] + cm[5]) for x, y in ends]
        found.append((min(x0, x1), max(x0, x1), min(y0, y1)))

    page.extract_text(visitor_operand_before=before)
    yield from found


def _widths(font: Any) -> dict[int, float]:
    widths: dict[int, float] = {}
    listed = list(font["/DescendantFonts"][0].get_object()["/W"])
    while listed:
        first, second = int(listed.pop(0)), listed.pop(0)
        if isinstance(second, list):
            widths |= {first + place: float(width) for place, width in enumerate(second)}
        else:
            widths |= dict.fromkeys(range(first, int(second) + 1), float(listed.pop(0)))
    return widths


@pytest.fixture(scope="session")
def pdf() -> SimpleNamespace:
    """What the tests need, by name."""
    makers: dict[str, Any] = {
        "document": document, "picture": picture, "read": read, "text": text, "joined": joined,
        "tagged": tagged, "runs": runs,
    }  # fmt: skip
    return SimpleNamespace(**makers)
