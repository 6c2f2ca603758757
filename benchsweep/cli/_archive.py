"""The verbs of `benchsweep archive`: one file each, one line here."""

from __future__ import annotations

import typer

from benchsweep.cli import (
    _archive_check,
    _archive_find,
    _archive_notes,
    _archive_reduce,
    _archive_regrade,
    _archive_reindex,
)

__all__ = ["app"]

# Read when a verb is asked for; what the help says of them all stands in `_app`.
app = typer.Typer(rich_markup_mode="markdown")

# The order is that of the work: look, check, say something, do something with many. A verb in a file of its
# own: `app.command("check")(_archive_check.check)`.
app.command("find")(_archive_find.find)
app.command("check")(_archive_check.check)
app.command("regrade")(_archive_regrade.regrade)
app.command("reduce")(_archive_reduce.reduce)
app.command("comment")(_archive_notes.comment)
app.command("correct")(_archive_notes.correct)
app.command("reindex")(_archive_reindex.reindex)
