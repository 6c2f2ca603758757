"""What `show`, `grade` and `report` do when they are given a series instead of a record."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._options import Source
from benchsweep.cli._output import say, table_width
from benchsweep.errors import RecordMissing, UsageError

if TYPE_CHECKING:
    from benchsweep.limits import Conditions, Requirement
    from benchsweep.qualification import Qualified, RecordNotes

__all__ = [
    "Follow",
    "LeaveOutDamaged",
    "Reading",
    "grade_any",
    "progress_of",
    "refuse_missing",
    "refuse_series_options",
    "show_series",
    "show_unfinished",
    "warn_of_damaged",
]

_EVERY_S = 5.0

Follow = Annotated[
    list[str] | None,
    typer.Option(
        "--parameter",
        metavar="P",
        help="Of a series: follow the change of insertion_loss, return_loss, next, fext or tcl; repeatable.",
    ),
]
Reading = Annotated[
    str | None,
    typer.Option(
        "--reading", metavar="NAME", help="Of a series: hold the change against this ambient reading."
    ),
]


LeaveOutDamaged = Annotated[
    bool,
    typer.Option(
        "--leave-out-damaged", help="Of a series: leave out sweeps that cannot be read, and say so."
    ),
]


def refuse_missing(path: Source) -> None:
    """Refuse a path at which there is nothing, before anything is said of what it should be.

    What is at an address shows when it is read.

    Raises
    ------
    RecordMissing
    """
    if isinstance(path, Path) and not path.exists():
        raise RecordMissing(f"{path}: no such file or folder", hint="Check the path.")


def refuse_series_options(path: Source, **given: object) -> None:
    """Refuse options of a series, by their name and value, for what is no series.

    Raises
    ------
    UsageError
    """
    for name, value in given.items():
        if value:
            option = f"--{name.replace('_', '-')}"
            what = f"it has no sweep {value}" if name == "sweep" else f"{option} does nothing"
            raise UsageError(f"{path}: is no series, so {what}", hint=f"Leave {option} out.")


def grade_any(
    path: Source,
    requirements: Sequence[Requirement],
    *,
    sweep: int | None,
    length_m: float | None,
    decision_rule: str = "simple",
    budget: str | None = None,
    conditions: Conditions | None = None,
    by_pattern: Collection[str] = (),
) -> tuple[Qualified, int | None]:
    """Grade a record, or one sweep of a series; return the number of the sweep too.

    Requirements named in `by_pattern` are undecided where they need a length that nobody gave. An error names
    the record.

    Raises
    ------
    ArchiveError, UsageError, LimitNotDefined, DefinitionError
    """
    from benchsweep.qualification import about_record, grade_record, grade_series, is_series

    how: dict[str, Any] = {
        "length_m": length_m,
        "decision_rule": decision_rule,
        "budget": budget,
        "conditions": conditions,
        "by_pattern": by_pattern,
    }
    with about_record(path):
        if is_series(path):
            return grade_series(path, requirements, number=sweep, **how)
        refuse_series_options(path, sweep=sweep)
        return grade_record(path, requirements, **how), None


def progress_of(path: Source, *, quiet: bool = False) -> Callable[[int, int], None]:
    """Return a callable that says now and then how far reading a long series has come."""
    last = time.monotonic()

    def told(place: int, total: int) -> None:
        nonlocal last
        if not quiet and time.monotonic() - last > _EVERY_S:
            last = time.monotonic()
            say(f"{path}: sweep {place} of {total} read")

    return told


def show_unfinished(folder: Path) -> tuple[dict[str, Any], str]:
    """Return a list of the unfinished series in a folder, as a document and as text.

    Raises
    ------
    UsageError
        There is none.
    """
    from benchsweep.qualification import unfinished_document, unfinished_series
    from benchsweep.report import unfinished_table

    found = unfinished_series(folder)
    if not found:
        raise UsageError(
            f"{folder}: a folder in which no series is unfinished",
            hint="Name record files (.h5), or the folder of an unfinished series.",
        )
    return unfinished_document(folder, found), unfinished_table(found, width=table_width()).rstrip()


def show_series(
    path: Source,
    *,
    sweep: int | None,
    parameters: Sequence[str],
    reading: str | None,
    leave_out_damaged: bool = False,
    quiet: bool = False,
) -> tuple[dict[str, Any], str]:
    """Return what is printed of a series, as a document and as text: all of it, or one sweep.

    Raises
    ------
    ArchiveError, UsageError
    """
    from benchsweep.qualification import (
        followed_parameters,
        note_lines,
        notes_document,
        notes_on,
        series_change,
        series_document,
        series_sweep,
        series_sweep_document,
    )
    from benchsweep.report import labelled_table, series_sweep_table, series_table

    if sweep is not None:
        if parameters or reading or leave_out_damaged:
            raise UsageError(
                "--parameter, --reading and --leave-out-damaged do nothing for one sweep",
                hint="Leave them out, or leave --sweep out.",
            )
        found = series_sweep(path, sweep)
        table = series_sweep_table(found, width=table_width()).rstrip()
        return series_sweep_document(path, found), f"{_series_line(path)}\n{table}"
    shown = series_change(
        path,
        parameters=followed_parameters(parameters),
        reading=reading,
        leave_out_damaged=leave_out_damaged,
        progress=progress_of(path, quiet=quiet),
    )
    text = series_table(shown.head, shown.summary, width=table_width()).rstrip()
    said = notes_on(path)
    warn_of_damaged(said)
    below = labelled_table(note_lines(said), width=table_width())
    document = {**series_document(shown), **notes_document(said)}
    return document, f"{_series_line(path)}\n{text}" + (f"\n{below}" if below else "")


def _series_line(path: Source) -> str:
    """Return which series it is, in as many lines as its path takes on the terminal."""
    from benchsweep.report import labelled_table

    return labelled_table([("series", [str(path)])], width=table_width())


def warn_of_damaged(found: RecordNotes) -> None:
    """Warn of gradings that cannot be read: what they say of the record is not shown."""
    for error in found.damaged:
        say(f"warning: a kept grading is left out: {error.message}")
