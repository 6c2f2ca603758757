from __future__ import annotations

from typing import Annotated

import typer

from benchsweep import __version__
from benchsweep.cli import (
    _calibrate,
    _demo,
    _export,
    _grade,
    _identify,
    _import,
    _info,
    _locate,
    _plan,
    _qualify,
    _record,
    _report,
    _show,
    _simulate,
    _simulate_tester,
    _verify,
)
from benchsweep.cli._deferred import deferred
from benchsweep.cli._parser import Root

__all__ = ["app"]

app = typer.Typer(
    cls=Root,
    name="benchsweep",
    help="Qualify balanced four-pair cords, cable and channels with a laboratory network analyzer.",
    epilog="Start with `benchsweep demo`. Every command has --help with examples.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"benchsweep {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Qualify balanced four-pair cords, cable and channels with a laboratory network analyzer."""


# The order is that of the work: look, connect, calibrate, measure, judge, read.
app.command("demo")(_demo.demo)
app.command("simulate")(_simulate.simulate)
app.command("simulate-tester")(_simulate_tester.simulate_tester)
app.command("identify")(_identify.identify)
app.command("plan")(_plan.plan)
app.command("calibrate")(_calibrate.calibrate)
app.command("verify")(_verify.verify)
app.command("qualify")(_qualify.qualify)
app.command("record")(_record.record)
app.command("import")(_import.import_file)
app.command("grade")(_grade.grade)
app.command("locate")(_locate.locate)
app.command("show")(_show.show)
app.command("report")(_report.report)
app.command("export")(_export.export)
app.add_typer(deferred("_archive", "Search an archive, check it, grade it again."), name="archive")
app.add_typer(deferred("_lot", "Reel lots: draw a sample, accept or not, watch the process."), name="lot")
app.add_typer(
    deferred("_compare", "Field testers held against a reference channel, over time."), name="compare"
)
app.add_typer(deferred("_limits", "Requirements and their numbers."), name="limits")
app.command("info")(_info.info)
