from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import Archive, AsJson, LengthM, Operator, SpecimenId
from benchsweep.cli._output import print_json, print_text

__all__ = ["import_file"]


def import_file(
    file: Annotated[Path, typer.Argument(metavar="FILE.sNp", help="Touchstone file, single-ended.")],
    specimen: SpecimenId,
    port_map: Annotated[
        str | None,
        typer.Option(
            "--port-map",
            metavar="M",
            help="Which port is which leg: a name or .toml file. 16 ports default to `eight-conductors`.",
        ),
    ] = None,
    length_m: LengthM = None,
    archive: Archive = Path("archive"),
    operator: Operator = "",
    as_json: AsJson = False,
) -> None:
    """Make a record of a Touchstone file that was measured elsewhere.

    Example: `benchsweep import cord.s16p --specimen cord-7 --length-m 2`
    """
    from benchsweep.qualification import check_specimen, import_touchstone

    part = check_specimen(specimen, length_m)
    record = import_touchstone(file, part, port_map=port_map, folder=archive, operator=operator)
    if as_json:
        print_json({"schema": "benchsweep.import/1", "record": str(record), "specimen": specimen})
    else:
        print_text(f"record {record}")
