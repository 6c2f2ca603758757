from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import Address, AsJson, StationName
from benchsweep.cli._output import print_json, print_text

__all__ = ["plan"]


def plan(
    station: StationName,
    against: Annotated[
        str, typer.Option("--against", metavar="REQUIREMENT", help="Requirement that is to be graded.")
    ],
    address: Address = None,
    as_json: AsJson = False,
) -> None:
    """Print the hookups, matings and expected time of a qualification; nothing is measured.

    The analyzer is asked for its ports unless the station file gives them.

    Example: `benchsweep plan --station simulated --against tia-6a-cord`
    """
    from benchsweep.qualification import load_station, plan_document, plan_station

    loaded = load_station(station).at_address(address)
    made, seconds = plan_station(loaded, against)
    if as_json:
        print_json(plan_document(made, station=loaded.name, requirement=against, seconds=seconds))
        return
    lines = [
        f"hookups {len(made.hookups)}, matings {made.matings} (balanced ports to attach), {seconds:.0f} s",
        "each line: analyzer port -> leg of the specimen (end:pair.contact)",
    ]
    for hookup in made.hookups:
        parts = [f"{port} -> {leg}" for port, leg in hookup.connections.items()]
        rows = [parts[at : at + 4] for at in range(0, len(parts), 4)]
        for at, row in enumerate(rows):
            head = f"{hookup.number:>3}" if at == 0 else "   "
            lines.append(f"{head}  " + "  ".join(part.ljust(13) for part in row).rstrip())
    print_text("\n".join(lines))
