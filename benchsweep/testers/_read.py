"""A field tester's CSV file, read by a mapping."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path

from benchsweep.errors import DataFileError
from benchsweep.records import FieldResult
from benchsweep.testers._about import AboutReader
from benchsweep.testers._block import BlockReader
from benchsweep.testers._columns import Header, find_header
from benchsweep.testers._lines import Bytes, Row, opened, rows_of, wrong
from benchsweep.testers._mapping import FieldMapping
from benchsweep.testers._names import Translator, folded
from benchsweep.testers._store import Store

__all__ = ["read_results"]

# Few enough that a block stays near the processor: 10 000 took half as long again.
ROWS_AT_ONCE = 1000
_MOST_NAMED = 8


def read_results(path: str | Path, mapping: FieldMapping, *, content: bytes | None = None) -> FieldResult:
    """Read what a field tester said of a channel.

    The file is read block by block; what stays in memory are the numbers, at most 5 million.

    Parameters
    ----------
    path
        The file; where `content` is given only its name.
    mapping
        What its columns mean.
    content
        The bytes, where they are kept elsewhere.

    Returns
    -------
    FieldResult
        Frequencies in Hz, values, margins and limits in dB with losses positive, delay and skew in ns. Traces
        rise in frequency whatever the order of the rows.

    Raises
    ------
    DataFileError
        The file is not as the mapping says, or is damaged; the message names the file, line and column.
    """
    path = Path(path)
    with opened(path, content, mapping.file.encoding) as source:
        rows = rows_of(source, mapping.file)
        names = Translator(mapping.names)
        header = find_header(str(path), rows, mapping, names)
        store = Store(lambda why, line, column: wrong(str(path), why, line=line, column=column))
        block, about = (
            BlockReader(str(path), header, mapping, store),
            AboutReader(str(path), header, mapping, names),
        )
        for lines, cells in _blocks(str(path), rows, header, mapping):
            about.take(lines, cells)
            block.take(lines, cells)
        told = about.told()
        points = store.points() if mapping.basis == "points" else ()
        traces = store.traces() if mapping.basis == "traces" else ()
        if not traces and not points:
            raise wrong(
                str(path),
                "holds no number that is described",
                line=header.line,
                hint="The header is there; below it nothing was measured, or nothing that the mapping takes.",
            )
        notes = (*_notes(source, header, block), *store.notes, *about.notes)
        return FieldResult(
            traces=traces,
            points=points,
            source=path.name,
            digest=source.digest,
            mapping=mapping.name,
            notes=notes,
            **told,
        )


def _notes(source: Bytes, header: Header, block: BlockReader) -> Iterator[str]:
    if source.note:
        yield source.note
    if header.left_out:
        more = len(header.left_out) - _MOST_NAMED
        named = ", ".join(repr(one.strip()[:40]) for one in header.left_out[:_MOST_NAMED])
        yield f"columns that the mapping does not describe: {named}{f' and {more} more' if more > 0 else ''}"
    if block.not_measured:
        yield f"{block.not_measured} cells say that nothing was measured"
    if block.left_out:
        yield f"{block.left_out} rows were left out, as the mapping says"


def _blocks(
    name: str, rows: Iterator[Row], header: Header, mapping: FieldMapping
) -> Iterator[tuple[Sequence[int], Sequence[Sequence[str]]]]:
    """Give the rows below the header in blocks, each row with as many cells as the header."""
    width = len(header.cells)
    stop = frozenset(folded(text) for text in mapping.file.stop_at)
    ended = False
    while not ended:
        # Islice may not take what comes behind the end of the table: it need not have cells like a row.
        found = list(islice(rows, ROWS_AT_ONCE))
        if not found:
            return
        if stop:
            end = next((n for n, (_, cells) in enumerate(found) if folded(cells[0]) in stop), None)
            ended, found = end is not None, found[:end]
        # Some testers write the header again before each part.
        found = [row for row in found if row[1] != header.cells]
        if not found:
            continue
        lines, cells = zip(*found, strict=True)
        if set(map(len, cells)) != {width}:
            cells = tuple(
                row if len(row) == width else _as_wide(name, line, row, width, mapping) for line, row in found
            )
        yield lines, cells


def _as_wide(name: str, line: int, row: list[str], width: int, mapping: FieldMapping) -> list[str]:
    """Return a row without empty cells beyond the header.

    Raises
    ------
    DataFileError
        It has fewer cells, or more that are not empty.
    """
    if len(row) > width and not any(cell.strip() for cell in row[width:]):
        return row[:width]
    raise _other_width(name, line, row, width, mapping)


def _other_width(name: str, line: int, row: list[str], width: int, mapping: FieldMapping) -> DataFileError:
    comma = mapping.file.delimiter == "," and len(row) > width
    hint = (
        "A decimal comma, perhaps, in a file cut at commas: numbers need quotation marks then."
        if comma
        else "The file was cut off there, or other text follows: file.stop_at in the mapping ends a table."
    )
    return wrong(
        name,
        f"has {len(row)} cells where the header has {width}",
        line=line,
        column=min(len(row), width) + (1 if len(row) > width else 0),
        hint=hint,
    )
