"""The verbs of `benchsweep lot`: one file each, one line here."""

from __future__ import annotations

import typer

from benchsweep.cli import (
    _lot_add,
    _lot_close,
    _lot_draw,
    _lot_exclude,
    _lot_list,
    _lot_open,
    _lot_plan,
    _lot_process,
    _lot_prove,
    _lot_replan,
    _lot_report,
    _lot_status,
)

__all__ = ["app"]

# Read when a verb is asked for; what the help says of them all stands in `_app`.
app = typer.Typer(rich_markup_mode="markdown")

# The order is that of the work: plan, open, draw, add, look, decide, look back, hand over, look at many.
app.command("plan")(_lot_plan.plan)
app.command("open")(_lot_open.open_)
app.command("draw")(_lot_draw.draw)
app.command("add")(_lot_add.add)
app.command("exclude")(_lot_exclude.exclude)
app.command("replan")(_lot_replan.replan)
app.command("status")(_lot_status.status)
app.command("list")(_lot_list.list_all)
app.command("close")(_lot_close.close)
app.command("prove")(_lot_prove.prove)
app.command("report")(_lot_report.report)
app.command("process")(_lot_process.process)
