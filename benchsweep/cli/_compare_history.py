from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import Kind, KindName, ReferenceName
from benchsweep.cli._compare_text import print_reference
from benchsweep.cli._options import AsJson, ReferenceArchive

__all__ = ["history"]


def history(
    kind: KindName,
    name: ReferenceName,
    charts: Annotated[
        bool, typer.Option("--charts", help="Draw every chart, also those without a signal.")
    ] = False,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Follow a channel or a tester over time: what was measured, what drifts, when it is due.

    Example: `benchsweep compare history tester FT-07 --charts`
    """
    from benchsweep.qualification.comparisons import read_channel, read_tester

    view = read_channel(archive, name) if kind is Kind.CHANNEL else read_tester(archive, name)
    print_reference(view, charts=charts, as_json=as_json)
