"""Errors that say which record they are about."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from benchsweep import archive
from benchsweep.errors import BenchsweepError, UnknownName

__all__ = ["about_record"]


@contextmanager
def about_record(source: archive.Source) -> Iterator[None]:
    """Put the name of the record before the message of an error that does not tell it.

    Of several records nobody could tell which one it is about. What was named and is not there (a budget, a
    parameter) is no matter of the record and keeps its message.

    Raises
    ------
    BenchsweepError
        The same that is raised within.
    """
    try:
        yield
    except UnknownName:
        raise
    except BenchsweepError as error:
        if str(source) not in error.message:
            error.message = f"{source}: {error.message}"
            error.args = (error.message,)
        raise
