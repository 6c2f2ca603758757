"""What a section of a report tells, for tests: every line in it, its tables and its facts."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.report.document import (
    Block,
    Box,
    Drawn,
    Facts,
    Given,
    Items,
    Line,
    Link,
    Listing,
    Paragraph,
    Piece,
    Section,
    Table,
    plain,
)

HOSTILE = "</bdi><script>alert(1)</script>\u202e\x1b[2J{name} «"


def lines_of(block: Block) -> Iterator[Line]:
    """Yield all lines, heads of columns as lines of their own; the lines of a listing are of others."""
    if isinstance(block, Section):
        yield block.title
        for inner in block.blocks:
            yield from lines_of(inner)
    else:
        yield from _own(block)


def _own(block: Block) -> tuple[Line, ...]:
    match block:
        case Paragraph():
            return (block.line,)
        case Items():
            return block.lines
        case Facts():
            return tuple(line for name, told in block.entries for line in (name, *told))
        case Table():
            assert {len(row.cells) for row in block.rows} <= {len(block.columns)}
            heads = tuple((column.title,) for column in block.columns)
            return (block.caption, *heads, *(cell for row in block.rows for cell in row.cells))
        case Box():
            return ((block.word,), *block.lines, *block.items)
        case Drawn():
            return (block.caption, (block.picture.words,))
        case Listing():
            return tuple((Given(line),) for line in block.lines)
        case _:
            raise AssertionError(block)


def text_of(block: Block) -> str:
    """Return all words, a line each."""
    return "\n".join(map(plain, lines_of(block)))


def ours(block: Block) -> str:
    """Return the words that are not of others."""
    return "\n".join("".join(map(_ours, line)) for line in lines_of(block))


def _ours(piece: Piece) -> str:
    if isinstance(piece, Given):
        return ""
    if isinstance(piece, Link):
        return _ours(piece.piece)
    return piece if isinstance(piece, str) else piece.text


def facts_of(block: Block) -> dict[str, list[str]]:
    """Return the facts of a block and of all within it, by name."""
    found: dict[str, list[str]] = {}
    for inner in within(block):
        if isinstance(inner, Facts):
            for name, told in inner.entries:
                found.setdefault(plain(name), []).extend(map(plain, told))
    return found


def tables_of(block: Block) -> list[list[list[str]]]:
    """Return the tables of a block and of all within it: heads, then rows."""
    return [
        [
            [column.title for column in inner.columns],
            *([plain(cell) for cell in row.cells] for row in inner.rows),
        ]
        for inner in within(block)
        if isinstance(inner, Table)
    ]


def within(block: Block) -> Iterator[Block]:
    """Yield a block and all in it."""
    yield block
    if isinstance(block, Section):
        for inner in block.blocks:
            yield from within(inner)


def section_in(block: Block, title: str) -> Section:
    """Return the one section whose title begins so."""
    (found,) = [
        inner
        for inner in within(block)
        if isinstance(inner, Section) and plain(inner.title).startswith(title)
    ]
    return found
