"""The verbs of `benchsweep archive`: one file each, one line here."""

from __future__ import annotations

import typer

from benchsweep.cli import _archive_find, _archive_regrade

__all__ = ["app"]

app = typer.Typer(
    help="Search an archive, check it, grade it again.", no_args_is_help=True, rich_markup_mode="markdown"
)

# The order is that of the work: look, check, say something, do something with many. A verb in a file of its
# own: `app.command("check")(_archive_check.check)`.
app.command("find")(_archive_find.find)
app.command("regrade")(_archive_regrade.regrade)
