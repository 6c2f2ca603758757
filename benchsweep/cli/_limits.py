from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, LengthM, requirement_names
from benchsweep.cli._output import print_json, print_text

__all__ = ["app"]

app = typer.Typer(help="Requirements and their numbers.", no_args_is_help=True)

RequirementName = Annotated[
    str,
    typer.Argument(metavar="REQUIREMENT", autocompletion=requirement_names, help="Name, or a .toml file."),
]


@app.command("list")
def list_all(as_json: AsJson = False) -> None:
    """List the requirements there are, with their standing.

    Example: `benchsweep limits list`
    """
    from benchsweep.qualification import requirements_document

    document = requirements_document()
    if as_json:
        print_json(document)
        return
    lines = [f"{'requirement':<24} {'standing':<16} title"]
    lines += [
        f"{item['requirement']:<24} {item['standing']:<16} {item['title']}"
        for item in document["requirements"]
    ]
    lines.append("standing from-memory: verify against your own copy of the standard before you rely on it")
    print_text("\n".join(lines))


@app.command("show")
def show(requirement: RequirementName, length_m: LengthM = None, as_json: AsJson = False) -> None:
    """Print the limit lines of a requirement at its band edges and round frequencies.

    Example: `benchsweep limits show tia-6a-cord --length-m 2`
    """
    from benchsweep.qualification import requirement_document

    document = requirement_document(requirement, length_m=length_m)
    if as_json:
        print_json(document)
        return
    lines = [f"{document['title']}", f"source    {document['source']}"]
    lines += [f"checked   {document['checked']}", f"standing  {document['standing']}"]
    for line in document["lines"]:
        bound = "at least" if line["sense"] == "min" else "at most"
        lines.append("")
        lines.append(
            f"{line['parameter']} ({bound}, {line['unit']}), standing {line['standing']}: {line['source']}"
        )
        if line["note"]:
            lines.append(f"  {line['note']}")
        cells = [f"{value['frequency_hz'] / 1e6:g} MHz {value['value']:.1f}" for value in line["values"]]
        lines.append("  " + ("   ".join(cells) if cells else "needs --length-m"))
    print_text("\n".join(lines))


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
        print_json(limit_document(name, parameter, limit))
        return
    bound = "at least" if limit.sense == "min" else "at most"
    print_text(f"{bound} {limit.value:.2f} {limit.unit} ({limit.standing}: {limit.source})")
