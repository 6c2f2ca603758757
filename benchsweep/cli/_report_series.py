"""The series among what is reported, and what is refused of records that are none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchsweep.cli._options import Source
from benchsweep.cli._series import progress_of, refuse_missing, refuse_series_options
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.records import Parameter
    from benchsweep.report import SeriesItem

__all__ = ["Following", "series_items"]


@dataclass(frozen=True, slots=True)
class Following:
    """What is asked of the series of a report.

    Parameters
    ----------
    parameters, reading
        What is followed, and the ambient reading that it is held against.
    leave_out_damaged
        Whether sweeps that cannot be read are left out.
    sweep
        Which sweep is graded; None: the last.
    """

    parameters: Sequence[str]
    reading: str | None
    leave_out_damaged: bool
    sweep: int | None


def series_items(
    records: Sequence[Source], asked: Following, *, graded: bool, named: bool, quiet: bool
) -> list[SeriesItem]:
    """Return the change over time of every series among `records`.

    Parameters
    ----------
    graded
        Whether there is a requirement.
    named
        Whether a person named each record; options of a series are then refused for what is none.

    Raises
    ------
    ArchiveError, UsageError
        What is named is not there, or options do not fit what it is.
    """
    from benchsweep.qualification import about_record, followed_parameters, is_series, series_sweep

    series = []
    for path in records:
        refuse_missing(path)
        if not is_series(path):
            if named:
                refuse_series_options(
                    path,
                    sweep=asked.sweep,
                    parameter=asked.parameters,
                    reading=asked.reading,
                    leave_out_damaged=asked.leave_out_damaged,
                )
            if not graded:
                raise UsageError(
                    f"{path}: a record is reported against a requirement", hint="Give --against a name."
                )
            continue
        if asked.sweep is not None:
            with about_record(path):
                series_sweep(path, asked.sweep)
        series.append(path)
    # Where there is none, they chose records by what was graded, which may be any parameter.
    followed = followed_parameters(asked.parameters) if series else ()
    return [_item(path, asked, followed, quiet) for path in series]


def _item(path: Source, asked: Following, followed: Sequence[Parameter], quiet: bool) -> SeriesItem:
    from benchsweep.qualification import about_record, notes_about, series_change
    from benchsweep.records import Comment
    from benchsweep.report import SeriesItem

    with about_record(path):
        shown = series_change(
            path,
            parameters=followed,
            reading=asked.reading,
            leave_out_damaged=asked.leave_out_damaged,
            progress=progress_of(path, quiet=quiet),
        )
        comments = [note for note in notes_about(path) if isinstance(note, Comment)]
    return SeriesItem(shown.head, shown.summary, str(path), shown.content_hash, comments)
