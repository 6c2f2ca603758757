"""The files that one record makes in each form, not written yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal, get_args

from benchsweep import __version__, archive, fixture, mixedmode
from benchsweep.errors import UsageError
from benchsweep.qualification._export_columns import (
    matrix_columns,
    raw_columns,
    trace_columns,
)
from benchsweep.qualification._export_load import ExportWhat, Loaded, uncorrected
from benchsweep.qualification._verdict_columns import verdict_columns
from benchsweep.records import Measurement, SMatrix, balanced_ports_among

__all__ = ["HOLDS", "ExportForm", "Piece", "pieces_of", "table_piece"]

ExportForm = Literal["touchstone", "touchstone-mixed", "csv", "parquet"]
HOLDS: Mapping[ExportForm, tuple[ExportWhat, ...]] = {
    "touchstone": ("matrix", "raw"),
    "touchstone-mixed": ("matrix",),
    "csv": get_args(ExportWhat),
    "parquet": get_args(ExportWhat),
}
"""What each form can hold, first what it holds when nobody says."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One file to be written.

    Parameters
    ----------
    addition
        What it adds to the name of its record.
    suffixes
        How its name may end; the first when nobody says.
    store
        Writes it at a path, over another file only when told so.
    """

    addition: str
    suffixes: tuple[str, ...]
    store: Callable[[Path, bool], Path]


def pieces_of(loaded: Loaded, to: ExportForm, what: ExportWhat, version: str | None) -> Iterator[Piece]:
    """Yield the files of one record in their order.

    Raises
    ------
    UsageError
        The form cannot hold it: no legs, a mode that was not measured, no raw sweeps.
    """
    measurement = loaded.measurement
    if what == "raw" and not measurement.hookups:
        raise UsageError(
            f"{loaded.name}: holds no raw sweeps: it was imported from {measurement.source_file or 'a file'}",
            hint="Leave --what raw out.",
        )
    if not to.startswith("touchstone"):
        yield from _tables(loaded, to, what)
    elif what == "raw":
        for raw in measurement.hookups:
            matrix = uncorrected(raw)
            words = f"hookup {raw.hookup.number}, uncorrected, taken at {raw.sweep.taken_at}"
            yield _touchstone(loaded, matrix, f"-hookup{raw.hookup.number}", version, words)
    elif to == "touchstone":
        for addition, matrix in _matrices(measurement):
            yield _touchstone(loaded, matrix, addition, version, "corrected")
    else:
        for addition, matrix in _matrices(measurement):
            yield _mixed(loaded, matrix, addition, version)


def _tables(loaded: Loaded, to: ExportForm, what: ExportWhat) -> Iterator[Piece]:
    if what == "matrix":
        for addition, matrix in _matrices(loaded.measurement):
            yield table_piece(to, f"{addition}-matrix", partial(matrix_columns, matrix))
    elif what == "raw":
        yield table_piece(to, "-raw", partial(raw_columns, loaded.measurement))
    elif loaded.graded is not None:
        yield table_piece(to, "-verdict", partial(verdict_columns, [loaded.graded]))
    else:
        yield table_piece(to, "-traces", partial(trace_columns, loaded.traces))


def table_piece(to: str, addition: str, columns: Callable[[], Mapping[str, Any]]) -> Piece:
    """Return the file of a table, made when it is written."""
    return Piece(
        addition,
        (f".{to}",),
        lambda path, overwrite: archive.write_table(columns(), path, replace=overwrite),
    )


def _matrices(measurement: Measurement) -> Iterator[tuple[str, SMatrix]]:
    """Yield the corrected matrix, then that of the specimen with each disturbing cable of its bundle."""
    yield "", measurement.corrected
    for matrix in measurement.couplings:
        cable = max(port.cable for port in balanced_ports_among(matrix.ports))
        yield f"-cable{cable}", matrix


def _touchstone(loaded: Loaded, matrix: SMatrix, addition: str, version: str | None, words: str) -> Piece:
    chosen = version or "1.0"
    # Whatever cannot be said is found out before anything is written.
    text = fixture.touchstone_text(
        matrix,
        version=chosen,
        comments=_comments(loaded, words),
    )
    suffix = f".s{len(matrix.ports)}p"
    return Piece(addition, (suffix, ".ts") if chosen != "1.0" else (suffix,), _storing(text))


def _mixed(loaded: Loaded, matrix: SMatrix, addition: str, version: str | None) -> Piece:
    comments = [fixture.plain_comment(line) for line in _comments(loaded, "corrected, mixed modes")]
    text = mixedmode.mixed_mode_text(matrix, version=version or "2.0", comments=comments)
    return Piece(f"{addition}-mixed-mode", (f".s{len(matrix.ports)}p", ".ts"), _storing(text))


def _storing(text: str) -> Callable[[Path, bool], Path]:
    return lambda path, overwrite: archive.store_file(path, text.encode("ascii"), replace=overwrite)


def _comments(loaded: Loaded, words: str) -> Sequence[str]:
    specimen = loaded.measurement.specimen
    return [
        f"specimen: {specimen.identifier}",
        *([f"lot: {specimen.lot}"] if specimen.lot else []),
        *([f"product: {specimen.product}"] if specimen.product else []),
        *([] if specimen.length_m is None else [f"length: {specimen.length_m!r} m"]),
        f"measured: {loaded.measurement.created_at}",
        f"content: {words}",
        f"record: {loaded.content_hash or 'unfinished'}",
        *(f"note: {note}" for note in loaded.notes),
        f"written by benchsweep {__version__}",
    ]
