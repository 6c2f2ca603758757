from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator
from functools import lru_cache
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from benchsweep.report._target import check_target, replace_page
from benchsweep.report.document import Block, Document, Line, Section, plain
from benchsweep.report.html._chart import chart_markup
from benchsweep.report.html._escape import cleaned, css_string, line_markup, script_data, unlinked
from benchsweep.report.html._table import table_markup

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["CONTROLS", "html_page", "write_html"]

CONTROLS = (
    "skip",
    "contents",
    "open_all",
    "fold_all",
    "pairs",
    "pairs_everywhere",
    "all_pairs",
    "no_pair",
    "read",
    "keys",
    "back",
    "on",
    "worst",
    "curve",
    "value",
    "limit",
    "margin",
    "uncertainty",
    "no_curve",
)
"""Names in `Document.controls` that the page needs."""

_HERE = Path(__file__).parent
_LEAST_PARTS = 4
_MOST_PARTS = 60
_LONG_TITLE = 60
_LONG_NUMBER = 90
_RIGHT_TO_LEFT = ("ar", "dv", "fa", "he", "ps", "sd", "ug", "ur", "yi")


def write_html(path: Path, document: Document) -> Path:
    """Write a document as one self-contained HTML page and return its path.

    An older page is replaced as a whole, any other file never; the same document gives the same bytes.

    Parameters
    ----------
    path
        The file; its folder is made when it is missing.
    document
        What to print.

    Raises
    ------
    UsageError
        The file cannot be written there, or something else than a page is there.
    """
    path = Path(path)
    check_target(path)
    replace_page(path, html_page(document))
    return path


def html_page(document: Document) -> str:
    """Return a document as the text of an HTML page.

    Raises
    ------
    KeyError
        A name of `CONTROLS` is missing in `Document.controls`.
    """
    words = {name: cleaned(document.controls[name]) for name in CONTROLS}
    anchors = _anchors(document.blocks)
    # What is said before the first part comes before the list of parts: the outcome first.
    sections = [place for place, block in enumerate(document.blocks) if isinstance(block, Section)]
    opening = sections[0] if sections else len(document.blocks)
    style = f"{_part('page.css')}{_print_style(document)}"
    script = _part("page.js")
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            document=document,
            first=document.blocks[:opening],
            rest=document.blocks[opening:],
            direction="rtl" if document.language.split("-")[0].lower() in _RIGHT_TO_LEFT else "ltr",
            title=plain(document.title),
            words=words,
            words_json=json.dumps(words, ensure_ascii=False, separators=(",", ":")),
            parts=_parts(document.blocks, anchors),
            anchors=anchors,
            style=style,
            style_hash=_hash(style),
            script=script,
            script_hash=_hash(script),
        )
    )


@lru_cache
def _part(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")


@lru_cache
def _environment() -> Environment:
    # Imported here: the rest of the report is wanted on every start, this is slow to load.
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalized,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "line": line_markup,
        "identity": id,
        "table_parts": table_markup,
        "chart": chart_markup,
        "script_data": script_data,
        "ours": Markup,
    }
    return environment


def _finalized(value: Any) -> Any:
    """Take invisible characters out of every text that a template prints; markup of our own stays."""
    return cleaned(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def _print_style(document: Document) -> str:
    """Return the style rules of what stands at the head and foot of each printed page."""
    title, number, running = (
        _shortened(cleaned(text), most)
        for text, most in (
            (plain(document.title), _LONG_TITLE),
            (document.number, _LONG_NUMBER),
            (plain(document.running), _LONG_TITLE),
        )
    )
    page = "".join(
        f" counter({name}) " if name else css_string(text)
        for text, name in _counters(cleaned(document.page_words))
    )
    return (
        "@page {\n"
        f"  @top-left {{ content: {css_string(running)}; }}\n"
        f"  @top-right {{ content: {css_string(number)}; }}\n"
        f"  @bottom-left {{ content: {css_string(title)}; }}\n"
        f"  @bottom-right {{ content: {page}; }}\n"
        "}\n"
        # The head of the first page says all that in full.
        '@page :first { @top-left { content: ""; } @top-right { content: ""; } }\n'
    )


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _counters(words: str) -> Iterator[tuple[str, str]]:
    """Yield the words between ``{page}`` and ``{pages}``, and the counters' names."""
    rest = words
    while rest:
        before, brace, after = rest.partition("{")
        name, closing, behind = after.partition("}")
        if not (brace and closing and name in ("page", "pages")):
            yield rest, ""
            return
        yield before, ""
        yield "", name
        rest = behind


def _anchors(blocks: tuple[Block, ...]) -> dict[int, str]:
    """Return the anchors of the two outer ranks of sections, by identity; one is made where there is none."""
    told = [section.anchor for section in _sections(blocks)]
    names = (name for name in map("part-{}".format, count(1)) if name not in told)
    outer = [block for block in blocks if isinstance(block, Section)]
    inner = [block for section in outer for block in section.blocks if isinstance(block, Section)]
    return {id(section): section.anchor or next(names) for section in (*outer, *inner)}


def _sections(blocks: tuple[Block, ...]) -> Iterator[Section]:
    for block in blocks:
        if isinstance(block, Section):
            yield block
            yield from _sections(block.blocks)


Entry: TypeAlias = tuple[str, Line]


def _parts(blocks: tuple[Block, ...], anchors: dict[int, str]) -> tuple[tuple[Entry, tuple[Entry, ...]], ...]:
    """Return the list of contents: anchor and title of each section, and of those in it.

    Empty for a short report. Where there are many, only the outer ones are listed.
    """
    outer = [block for block in blocks if isinstance(block, Section)]
    inner = [[block for block in section.blocks if isinstance(block, Section)] for section in outer]
    total = len(outer) + sum(map(len, inner))
    if total < _LEAST_PARTS:
        return ()

    def entry(section: Section) -> Entry:
        return anchors[id(section)], unlinked(section.title)

    return tuple(
        (entry(section), tuple(map(entry, within)) if total <= _MOST_PARTS else ())
        for section, within in zip(outer, inner, strict=True)
    )
