"""Write what records hold as files for other programs."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchsweep import archive
from benchsweep.errors import UsageError
from benchsweep.qualification._export_load import (
    NOTHING_GRADED,
    ExportGrading,
    ExportWhat,
    Loaded,
    load_for_export,
)
from benchsweep.qualification._export_pieces import HOLDS, ExportForm, Piece, pieces_of, table_piece
from benchsweep.qualification._naming import about_record
from benchsweep.qualification._verdict_columns import verdict_columns

__all__ = [
    "ExportChoice",
    "ExportGrading",
    "Exported",
    "export_document",
    "export_records",
    "load_for_export",
]

_FILE = re.compile(r"\.(csv|parquet|ts|s\d+p)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Exported:
    """One written file.

    Parameters
    ----------
    records
        The records, or sweeps of series, that it comes from, as they were named.
    file
        Its path.
    what
        What it holds.
    notes
        What a reader must know of those records: what was corrected afterwards, that one was withdrawn.
    """

    records: tuple[str, ...]
    file: Path
    what: ExportWhat
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ExportChoice:
    """In which form what is written.

    Parameters
    ----------
    to
        ``touchstone``: single-ended. ``touchstone-mixed``: differential and common modes, with their order
        and polarity. ``csv``, ``parquet``: tables.
    what
        ``matrix``: the corrected matrix, what Touchstone files hold by default; ``raw``: the sweeps of each
        hookup as the analyzer gave them; ``traces``: every parameter of every pair, what tables hold by
        default; ``verdict``: the rows of verdicts. None: the default, as ``holds`` tells.
    version
        Of Touchstone: ``1.0``, ``2.0``, ``2.1``. By default 1.0, for mixed modes 2.0.

    Raises
    ------
    UsageError
        There is no such form, or it cannot hold that.
    """

    to: ExportForm
    what: ExportWhat | None = None
    version: str | None = None

    def __post_init__(self) -> None:
        if self.to not in HOLDS:
            raise UsageError(f"there is no export to {self.to!r}", hint=f"Choose {', '.join(HOLDS)}.")
        if self.what is not None and self.what not in HOLDS[self.to]:
            raise UsageError(
                f"an export to {self.to} cannot hold {self.what!r}",
                hint=f"It holds {' or '.join(HOLDS[self.to])}.",
            )
        if self.version is not None and not self.to.startswith("touchstone"):
            raise UsageError(f"a Touchstone version says nothing of {self.to}", hint="Leave --version out.")

    @property
    def holds(self) -> ExportWhat:
        """What is written."""
        return self.what or HOLDS[self.to][0]


def export_records(
    sources: Sequence[archive.Source],
    choice: ExportChoice,
    *,
    output: Path | None = None,
    grading: ExportGrading = NOTHING_GRADED,
    sweep: int | None = None,
    overwrite: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Exported, ...]:
    """Write records, and sweeps of series, as files for other programs; return what was written.

    Parameters
    ----------
    sources
        Records and series, in the order in which they are written.
    choice
        In which form what is written.
    output
        A folder, made when it is missing, in which each file is named after time and specimen, made safe; the
        working folder by default. Or one file, when all there is to write goes into one. Verdicts of several
        records go into one table then.
    grading
        For verdicts: against what, and how.
    sweep
        Of a series: which sweep; the last by default.
    overwrite
        Replace files that are there; otherwise the first such file ends the export.

    Returns
    -------
    One entry for each file, in the order of writing. Corrections that were made of a record count.

    Raises
    ------
    UsageError
        A file that is there, several files for one name, verdicts without a requirement.
    ArchiveError, FixtureError, LimitNotDefined, DefinitionError
    """
    what = choice.holds
    if (what == "verdict") != bool(grading.requirements):
        if what == "verdict":
            raise UsageError("a verdict needs a requirement", hint="Add --against with its name.")
        raise UsageError(f"nothing is graded for an export of {what}", hint="Add --what verdict.")
    output = output or Path()
    file = output if _FILE.fullmatch(output.suffix) and not output.is_dir() else None
    if file is not None and what != "verdict" and len(sources) > 1:
        raise _too_many(file, len(sources), "records")
    taken: set[str] = set()
    written: list[Exported] = []
    together: list[Loaded] = []
    for place, source in enumerate(sources, start=1):
        progress(f"record {place} of {len(sources)}: {source}")
        with about_record(source):
            loaded = load_for_export(source, what, grading=grading, sweep=sweep)
            alone = file is None or what != "verdict"
            pieces = tuple(pieces_of(loaded, choice.to, what, choice.version)) if alone else ()
        if not alone:
            together.append(loaded)
            continue
        if file is not None and len(pieces) > 1:
            raise _too_many(file, len(pieces), "files")
        for piece in pieces:
            path = _free_name(output, loaded, piece, taken) if file is None else _fitting(file, piece)
            _refuse_taken(path, overwrite)
            written.append(Exported((loaded.name,), piece.store(path, overwrite), what, loaded.notes))
    if file is not None and together:
        graded = [loaded.graded for loaded in together if loaded.graded is not None]
        piece = table_piece(choice.to, "", lambda: verdict_columns(graded))
        names = tuple(loaded.name for loaded in together)
        _refuse_taken(_fitting(file, piece), overwrite)
        notes = tuple(f"{loaded.name}: {note}" for loaded in together for note in loaded.notes)
        written.append(Exported(names, piece.store(file, overwrite), what, notes))
    return tuple(written)


def export_document(written: Sequence[Exported]) -> dict[str, Any]:
    """Return ``benchsweep.export/1``."""
    return {
        "schema": "benchsweep.export/1",
        "files": [
            {
                "file": str(one.file),
                "what": one.what,
                "records": list(one.records),
                "notes": list(one.notes),
            }
            for one in written
        ],
    }


def _refuse_taken(path: Path, overwrite: bool) -> None:
    if path.exists() and not overwrite:
        raise UsageError(
            f"{path}: exists already, and nothing is overwritten unasked",
            hint="Name another place, remove it, or add --overwrite.",
        )


def _too_many(path: Path, count: int, kind: str) -> UsageError:
    return UsageError(f"{path}: {count} {kind} do not go into one file", hint="Name a folder instead.")


def _fitting(path: Path, piece: Piece) -> Path:
    if path.suffix.lower() not in piece.suffixes:
        raise UsageError(
            f"{path}: what is to be written is a {' or '.join(piece.suffixes)} file",
            hint=f"Name it {path.with_suffix(piece.suffixes[0]).name}.",
        )
    return path


def _free_name(folder: Path, loaded: Loaded, piece: Piece, taken: set[str]) -> Path:
    """Return a name that this run has not given yet, also where capitals count for nothing."""
    specimen = loaded.measurement.specimen.identifier
    stem = archive.file_stem(loaded.measurement.created_at, specimen) + piece.addition
    serial = 1
    name = f"{stem}{piece.suffixes[0]}"
    while name.casefold() in taken:
        serial += 1
        name = f"{stem}~{serial}{piece.suffixes[0]}"
    taken.add(name.casefold())
    return folder / name
