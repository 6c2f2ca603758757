"""Which of the reels that a process is made of were measured on the simulated bench."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep import archive
from benchsweep.archive.places import below
from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.qualification.lots._histories import Root
from benchsweep.records import ProcessView

__all__ = ["Practice", "practice_of"]

Practice = tuple[int, int, int]
"""Reels measured on the simulated bench, those of which it is not known, and all of them."""


def practice_of(folder: Root, views: Sequence[ProcessView]) -> Practice:
    """Return how many of the reels of views were measured on the simulated bench: for practice.

    A little of each record is read, once; so this is asked when a report is written, not for every look. Of
    a record that cannot be read it is not known.

    Raises
    ------
    ArchiveUnreachable
        The archive does not answer.
    """
    paths = {path for view in views for path in view.records}
    simulated = unknown = 0
    for path in sorted(paths):
        try:
            simulated += archive.measured_on_simulated_bench(below(folder, *path.split("/")))
        except ArchiveUnreachable:
            raise
        except ArchiveError:
            unknown += 1
    return simulated, unknown, len(paths)
