from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import (
    Ambient,
    Archive,
    AsJson,
    LengthM,
    Lot,
    Operator,
    ProductName,
    SpecimenId,
)
from benchsweep.cli._output import print_json, print_lines

__all__ = ["import_file"]


def import_file(
    file: Annotated[Path, typer.Argument(metavar="FILE.sNp", help="Touchstone file.")],
    specimen: SpecimenId,
    port_map: Annotated[
        str | None,
        typer.Option(
            "--port-map",
            metavar="M",
            help="Which port is which leg: a name or .toml file; by default what the file's own comments"
            " name, or `eight-conductors` for 16 ports.",
        ),
    ] = None,
    length_m: LengthM = None,
    lot: Lot = "",
    product: ProductName = "",
    ambient: Ambient = None,
    budget: Annotated[
        str | None,
        typer.Option(
            "--budget",
            metavar="NAME",
            help="Uncertainty budget of the bench that measured it: a name, or the path of a .toml file; "
            "without one no uncertainty is stated, and no field tester can be held against it.",
        ),
    ] = None,
    archive: Archive = Path("archive"),
    operator: Operator = "",
    as_json: AsJson = False,
) -> None:
    """Make a record of a Touchstone file that was measured elsewhere.

    Single-ended files of versions 1 and 2, and mixed-mode files of version 2 (`[Mixed-Mode Order]`), which
    are turned into legs by the ports and the polarity that they tell. What `benchsweep export` wrote names
    its legs itself.

    Shipped port maps: `eight-conductors` (ports 1-8 are contacts 1-8 at end A, 9-16 the same at end B),
    `two-pairs` (contacts 1, 2, 3, 6 at A, then at B), `one-pair` (contacts 1, 2 at A, then at B),
    `two-cables` (as `eight-conductors`, then the same of a disturbing cable beside it). In a map of your own
    a number before the end names a disturbing cable: `3.A:12.1`; its alien crosstalk can then be graded.

    Example: `benchsweep import cord.s16p --specimen cord-7 --length-m 2`
    """
    from benchsweep.qualification import check_specimen, import_touchstone, parse_ambient

    part = check_specimen(specimen, length_m, lot=lot, product=product)
    record, legs = import_touchstone(
        file,
        part,
        port_map=port_map,
        folder=archive,
        operator=operator,
        budget=budget,
        ambient=parse_ambient(ambient or []),
    )
    if as_json:
        print_json(
            {"schema": "benchsweep.import/1", "record": str(record), "specimen": specimen, "legs": list(legs)}
        )
    else:
        print_lines([f"record  {record}", f"legs    {', '.join(legs)} (in the order of the record)"])
