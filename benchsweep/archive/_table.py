"""Tables for other programs: CSV (RFC 4180) and Parquet."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.places import new_file
from benchsweep.errors import UsageError

__all__ = ["Cells", "harmless", "refuse_table", "write_table"]

Cells = Sequence[str | None] | Sequence[float | None] | Sequence[int | None] | NDArray[Any]
"""One column: texts, numbers or truth values, None where there is none."""

_ROWS_AT_ONCE = 4096
# What begins a formula in a spreadsheet, in plain and in full width, and what only hides such a beginning.
_FORMULA = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_HIDDEN = "\\s\x00-\x20\x7f-\xa0\xad\u200b-\u200f\u2028-\u202e\u2060-\u2064\ufeff"
_RISKY_START = re.compile(rf"'*(?:[\t\r\n]|[{_HIDDEN}]*[{_FORMULA}])")
# A spreadsheet told of another separator, or one that overlooks the quotes, begins a cell here as well.
_RISKY_INSIDE = re.compile(rf"([;|\t\r\n][{_HIDDEN}]*'*)(?=[{_FORMULA}])")
_QUOTED = re.compile(r"""[,;|"'\s]""")


def write_table(columns: Mapping[str, Cells], path: Path, *, replace: bool = False) -> Path:
    """Write a table as CSV or Parquet, by the suffix of `path`, whole or not at all, and return the path.

    CSV follows RFC 4180: UTF-8 without byte order mark, comma, ``"`` doubled inside quotes, CR LF. Numbers
    are written so that reading gives the same number to the bit, are never quoted and never changed; None
    and NaN are empty cells, truth values ``true`` and ``false``, infinities ``inf`` and ``-inf``. Text that a
    spreadsheet would run as a formula is made harmless by `harmless`: this concerns cells and headings of
    text, not numbers. Parquet has types (text, 64-bit integers and floats, truth values), so its text stays
    as it is; None is null and NaN stays NaN.

    Parameters
    ----------
    columns
        Heading -> cells, all of one length. One kind of cell a column; whole numbers among others become
        floats. A list of None alone is text: give an array of NaN where it is to be numbers.
    path
        Ends in ``.csv`` or ``.parquet``; its folder is made when it is missing.
    replace
        Put it in the place of a file that is there; otherwise that is refused.

    Raises
    ------
    UsageError
        Another suffix, Parquet without the package that writes it, a file that is there already.
    ArchiveLocked, ArchiveError
        The place cannot be written.
    ValueError
        Columns of different lengths, of cells of several kinds, of complex numbers, or an empty heading.
    """
    suffix = _suffix_of(path)
    table = {heading: _typed(heading, cells) for heading, cells in columns.items()}
    if len({len(cells) for _, cells in table.values()}) > 1:
        lengths = ", ".join(f"{heading} {len(cells)}" for heading, (_, cells) in table.items())
        raise ValueError(f"columns of different lengths: {lengths}")
    writer = _write_csv if suffix == ".csv" else _parquet_writer()
    with new_file(path, replace=replace) as stream:
        writer(table, stream)
    return Path(path)


def refuse_table(path: Path, *, replace: bool = False) -> None:
    """Find out before the work whether a table can be written there; arguments as of `write_table`.

    Raises
    ------
    UsageError
        Another suffix, Parquet without the package that writes it, a file that is there already.
    """
    if _suffix_of(path) == ".parquet":
        _parquet_writer()
    if Path(path).exists() and not replace:
        raise UsageError(
            f"{path}: exists already, and nothing is overwritten unasked",
            hint="Name another place, remove it, or add --overwrite.",
        )


def _suffix_of(path: Path) -> str:
    suffix = Path(path).suffix.lower()
    if suffix not in (".csv", ".parquet"):
        raise UsageError(
            f"{path}: a table is written as .csv or .parquet, not as {suffix or 'a file without a suffix'}",
            hint="Name a file that ends in .csv or .parquet.",
        )
    return suffix


def harmless(text: str) -> str:
    r"""Return `text` such that no spreadsheet takes it for a formula.

    A cell that begins with ``=``, ``+``, ``-``, ``@`` (or their full-width forms), a tab, a carriage return
    or a line feed, be it behind spaces or characters that do not show, gets one ``'`` in front, which
    spreadsheets take as "text follows" and other programs as a character. So does a cell that began with
    ``'`` and such a character, so that taking one ``'`` away brings the text back. The same is done inside a
    cell behind ``;``, ``|``, tab and line ends, where a program told of another separator begins a new cell.
    Characters that no encoding knows are spelled out (``\udc80``).

    Examples
    --------
    >>> harmless("=2+5"), harmless(" @x"), harmless("cord 7"), harmless("12-36")
    ("'=2+5", "' @x", 'cord 7', '12-36')
    """
    text = _encodable(text)
    text = _RISKY_INSIDE.sub(r"\1'", text)
    return f"'{text}" if _RISKY_START.match(text) else text


def _encodable(text: str) -> str:
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


_Typed = tuple[type, list[Any]]
"""The kind of the cells (bool, int, float or str) and the cells as Python values."""
_KIND_OF_DTYPE: dict[str, type] = {"b": bool, "i": int, "u": int, "f": float, "U": str}


def _typed(heading: str, cells: Cells) -> _Typed:
    if not heading:
        raise ValueError("a column has no heading")
    if isinstance(cells, np.ndarray) and cells.ndim != 1:
        raise ValueError(f"{heading}: one column has one dimension, not {cells.ndim}")
    if isinstance(cells, np.ndarray) and cells.dtype.kind in _KIND_OF_DTYPE:
        return _KIND_OF_DTYPE[cells.dtype.kind], cells.tolist()
    plain = [cell.item() if isinstance(cell, np.generic) else cell for cell in cells]
    kinds = {type(cell) for cell in plain if cell is not None}
    for kind in (str, bool, int):
        if all(issubclass(one, kind) for one in kinds) and (kind is not int or bool not in kinds):
            return kind, plain
    if kinds <= {int, float}:
        return float, [None if cell is None else float(cell) for cell in plain]
    raise ValueError(
        f"{heading}: cells of {', '.join(sorted(kind.__name__ for kind in kinds))} in one column"
    )


def _write_csv(table: dict[str, _Typed], stream: BinaryIO) -> None:
    stream.write(_csv_line(_csv_text(heading) for heading in table))
    length = len(next(iter(table.values()))[1]) if table else 0
    for start in range(0, length, _ROWS_AT_ONCE):
        pieces = [
            [_csv_cell(kind, cell) for cell in cells[start : start + _ROWS_AT_ONCE]]
            for kind, cells in table.values()
        ]
        stream.write(b"".join(map(_csv_line, zip(*pieces, strict=True))))


def _csv_line(cells: Iterator[str] | tuple[str, ...]) -> bytes:
    return (",".join(cells) + "\r\n").encode("utf-8")


def _csv_cell(kind: type, cell: Any) -> str:
    if cell is None or (kind is float and math.isnan(cell)):
        return ""
    if kind is str:
        return _csv_text(cell)
    return str(cell).lower() if kind is bool else repr(cell)


@lru_cache(maxsize=4096)  # labels and names come again in every row
def _csv_text(text: str) -> str:
    text = harmless(text)
    # Empty text is quoted, so that it can be told from no text at all.
    return '"' + text.replace('"', '""') + '"' if not text or _QUOTED.search(text) else text


def _parquet_writer() -> Callable[[dict[str, _Typed], BinaryIO], None]:
    """Return what writes Parquet; told before anything is written when it is not there."""
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise UsageError(
            f"Parquet needs a package that is not installed: {error.name or error}",
            hint="Install benchsweep[tables], or write .csv.",
        ) from error
    types = {str: pa.string(), bool: pa.bool_(), int: pa.int64(), float: pa.float64()}

    def write(table: dict[str, _Typed], stream: BinaryIO) -> None:
        arrays = []
        for kind, cells in table.values():
            if kind is str:
                cells = [None if cell is None else _encodable(cell) for cell in cells]
            try:
                arrays.append(pa.array(cells, type=types[kind], from_pandas=False))
            except OverflowError as error:
                raise ValueError("a whole number of more than 64 bits") from error
        parquet.write_table(pa.Table.from_arrays(arrays, names=list(map(_encodable, table))), stream)

    return write
