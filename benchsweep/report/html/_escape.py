from __future__ import annotations

import html
from typing import TYPE_CHECKING

from benchsweep.report.document import Given, Line, Link, Piece, Strong, clean

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["cleaned", "css_string", "line_markup", "line_text", "script_data", "unlinked"]

_HARD_SPACE = "\u00a0"
_NOT_IN_SCRIPT = {ord(char): f"\\u{ord(char):04x}" for char in "<>&\u2028\u2029"}
_ISOLATE, _END_OF_ISOLATE = "\u2068", "\u2069"


def cleaned(text: str) -> str:
    """Return `text` with invisible characters shown as question marks; hard spaces stay."""
    return clean(text) if text.isascii() else _HARD_SPACE.join(map(clean, text.split(_HARD_SPACE)))


def line_markup(line: Line) -> Markup:
    """Return a line as HTML: what others gave stands in ``<bdi>``, so that it cannot turn its neighbours."""
    from markupsafe import Markup

    return Markup(line_text(line))


def line_text(line: Line) -> str:
    """Return the same as a string, for what is put together here."""
    return "".join(map(_piece, line))


def unlinked(line: Line) -> Line:
    """Return a line without its links, for what is a link as a whole."""
    return tuple(piece.piece if isinstance(piece, Link) else piece for piece in line)


def _piece(piece: Piece) -> str:
    if isinstance(piece, str):
        return _escaped(piece)
    if isinstance(piece, Given):
        return f"<bdi>{_escaped(piece.text)}</bdi>"
    if isinstance(piece, Strong):
        return f"<strong>{_escaped(piece.text)}</strong>"
    return f'<a href="#{_escaped(piece.anchor)}">{_piece(piece.piece)}</a>'


def _escaped(text: str) -> str:
    return html.escape(cleaned(text))


def script_data(text: str) -> Markup:
    """Return JSON that may stand inside ``<script>``: nothing in it can end that element or begin a comment.

    These characters are found in strings only, where they may be written as numbers.
    """
    from markupsafe import Markup

    return Markup(text.translate(_NOT_IN_SCRIPT))


def css_string(text: str) -> str:
    """Return `text` as a string of a style sheet, its direction kept to itself."""
    if not text:
        return '""'
    written = "".join(
        char if char.isascii() and char.isalnum() else f"\\{ord(char):06x}"
        for char in f"{_ISOLATE}{text}{_END_OF_ISOLATE}"
    )
    return f'"{written}"'
