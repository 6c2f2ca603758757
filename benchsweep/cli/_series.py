"""What `show`, `grade` and `report` do when they are given a series instead of a record."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._output import say, table_width
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.limits import Requirement
    from benchsweep.qualification import Qualified

__all__ = ["Follow", "Reading", "grade_any", "progress_of", "refuse_sweep", "show_series"]

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


def refuse_sweep(path: Path, sweep: int | None) -> None:
    """Refuse a number of a sweep for what is no series.

    Raises
    ------
    UsageError
    """
    if sweep is not None:
        raise UsageError(f"{path}: is no series, so it has no sweep {sweep}", hint="Leave --sweep out.")


def grade_any(
    path: Path,
    requirements: Sequence[Requirement],
    *,
    sweep: int | None,
    length_m: float | None,
    decision_rule: str = "simple",
) -> Qualified:
    """Grade a record, or one sweep of a series.

    Raises
    ------
    ArchiveError, UsageError, LimitNotDefined
    """
    from benchsweep.qualification import grade_record, grade_series, is_series

    if is_series(path):
        return grade_series(path, requirements, number=sweep, length_m=length_m, decision_rule=decision_rule)[
            0
        ]
    refuse_sweep(path, sweep)
    return grade_record(path, requirements, length_m=length_m, decision_rule=decision_rule)


def progress_of(path: Path, *, quiet: bool = False) -> Callable[[int, int], None]:
    """Return a callable that says now and then how far reading a long series has come."""
    last = time.monotonic()

    def told(place: int, total: int) -> None:
        nonlocal last
        if not quiet and time.monotonic() - last > _EVERY_S:
            last = time.monotonic()
            say(f"{path}: sweep {place} of {total} read")

    return told


def show_series(
    path: Path, *, sweep: int | None, parameters: Sequence[str], reading: str | None
) -> tuple[dict[str, Any], str]:
    """Return what is printed of a series, as a document and as text: all of it, or one sweep.

    Raises
    ------
    ArchiveError, UsageError
    """
    from benchsweep.qualification import (
        followed_parameters,
        series_change,
        series_document,
        series_sweep,
        series_sweep_document,
    )
    from benchsweep.report import series_sweep_table, series_table

    if sweep is not None:
        found = series_sweep(path, sweep)
        return (
            series_sweep_document(path, found),
            f"series {path}\n{series_sweep_table(found, width=table_width()).rstrip()}",
        )
    shown = series_change(
        path, parameters=followed_parameters(parameters), reading=reading, progress=progress_of(path)
    )
    text = series_table(shown.head, shown.summary, width=table_width()).rstrip()
    return series_document(shown), f"series {path}\n{text}"
