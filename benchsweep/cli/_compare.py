"""The verbs of `benchsweep compare`: one file each, one line here."""

from __future__ import annotations

import typer

from benchsweep.cli import (
    _compare_accuracy,
    _compare_add,
    _compare_bench,
    _compare_due,
    _compare_history,
    _compare_interval,
    _compare_list,
    _compare_look,
    _compare_mappings,
    _compare_prove,
    _compare_register,
    _compare_report,
    _compare_study,
    _compare_use,
)

__all__ = ["app"]

# Read when a verb is asked for; what the help says of them all stands in `_app`.
app = typer.Typer(rich_markup_mode="markdown")

# The order is that of the work: register, measure, look, compare, follow, hand over, prove, take out of use.
app.command("channel")(_compare_register.channel)
app.command("tester")(_compare_register.field_tester)
app.command("bench")(_compare_bench.bench)
app.command("mappings")(_compare_mappings.list_mappings)
app.command("look")(_compare_look.look)
app.command("add")(_compare_add.add)
app.command("history")(_compare_history.history)
app.command("list")(_compare_list.list_all)
app.command("due")(_compare_due.due)
app.command("report")(_compare_report.report)
app.command("prove")(_compare_prove.prove)
app.command("withdraw")(_compare_use.withdraw)
app.command("return")(_compare_use.return_)
app.command("accuracy")(_compare_accuracy.accuracy)
app.command("interval")(_compare_interval.interval)
app.add_typer(_compare_study.app, name="study")
