from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._limits_text import list_text, show_text
from benchsweep.cli._options import AsJson, LengthM, requirement_names
from benchsweep.cli._output import print_json, print_text, say, table_width

__all__ = ["app"]

# Read when a verb is asked for; what the help says of them all stands in `_app`.
app = typer.Typer(rich_markup_mode="markdown")

_DEFINITION = 2

RequirementName = Annotated[
    str,
    typer.Argument(metavar="REQUIREMENT", autocompletion=requirement_names, help="Name, or a .toml file."),
]


@app.command("list")
def list_all(as_json: AsJson = False) -> None:
    """List the requirements there are: standing, which file is in force and why, and files that are broken.

    A laboratory's own file in `./requirements/` or in the data folder comes before the shipped one of the
    same name. Exit code 2 when a file is broken; the others can be used all the same.

    Example: `benchsweep limits list`
    """
    from benchsweep.qualification import requirements_document

    document = requirements_document()
    if as_json:
        print_json(document)
    else:
        print_text(list_text(document, width=table_width()))
    broken = document["broken"]
    if broken:
        many = f"{len(broken)} requirement files are" if len(broken) > 1 else "a requirement file is"
        say(f"benchsweep: {many} broken: {', '.join(item['file'] for item in broken)}")
        raise typer.Exit(_DEFINITION)


@app.command("show")
def show(requirement: RequirementName, length_m: LengthM = None, as_json: AsJson = False) -> None:
    """Print a requirement: its lines as formulas, its rules, its values at round frequencies and band edges.

    Example: `benchsweep limits show tia-6a-cord --length-m 2`
    """
    from benchsweep.qualification import requirement_document

    document = requirement_document(requirement, length_m=length_m)
    if as_json:
        print_json(document)
    else:
        print_text(show_text(document, width=table_width()))


@app.command("value")
def value(
    requirement: RequirementName,
    parameter: Annotated[
        str, typer.Argument(metavar="PARAMETER", help="For example next or insertion_loss.")
    ],
    frequency_mhz: Annotated[float, typer.Option("--frequency-mhz", metavar="F", help="Frequency in MHz.")],
    length_m: LengthM = None,
    as_json: AsJson = False,
) -> None:
    """Print one limit value, unrounded in JSON.

    Example: `benchsweep limits value tia-6-channel next --frequency-mhz 100`
    """
    from benchsweep.qualification import limit_document, limit_number

    name, limit = limit_number(requirement, parameter, frequency_mhz * 1e6, length_m=length_m)
    if as_json:
        print_json(limit_document(name, str(limit.parameter), limit))
        return
    bound = "at least" if limit.sense == "min" else "at most"
    held = ""
    if limit.reference_length_m is not None:
        sample = "a shorter sample" if limit.only_shorter else "a sample of another length"
        held = f", for {limit.reference_length_m:g} m; {sample} is brought to it"
    print_text(f"{bound} {limit.value:.2f} {limit.unit} ({limit.standing}: {limit.source}){held}")
