from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._options import AsJson, LengthM, Records, SweepNumber
from benchsweep.cli._output import print_json, print_text, table_width
from benchsweep.cli._series import Follow, Reading, grade_any, refuse_sweep, show_series

if TYPE_CHECKING:
    from benchsweep.qualification import Qualified

__all__ = ["show"]


def show(
    records: Records,
    against: Annotated[
        list[str] | None,
        typer.Option("--against", metavar="REQUIREMENT", help="Also print the verdict against it."),
    ] = None,
    sweep: SweepNumber = None,
    parameter: Follow = None,
    reading: Reading = None,
    length_m: LengthM = None,
    as_json: AsJson = False,
) -> None:
    """Print what a record holds, after checking that it is undamaged; with --against its verdict too.

    Of a series: how many sweeps, what happened, and how the part changed over time; with --sweep one of them.

    Example: `benchsweep show archive/20260301T101500Z-cord.h5`
    """
    from benchsweep.qualification import is_series, load_requirements, verdict_document
    from benchsweep.report import verdict_table

    requirements = load_requirements(against or [])
    documents = []
    texts = []
    for path in records:
        if is_series(path):
            document, text = show_series(path, sweep=sweep, parameters=parameter or [], reading=reading)
        else:
            refuse_sweep(path, sweep)
            document, text = _record(path)
        texts.append(text)
        if requirements:
            graded: Qualified = grade_any(path, requirements, sweep=sweep, length_m=length_m)
            document["verdicts"] = [
                verdict_document(verdict, graded.evaluation.measurement) for verdict in graded.verdicts
            ]
            texts += [verdict_table(verdict, width=table_width()).rstrip() for verdict in graded.verdicts]
        documents.append(document)
    if as_json:
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        print_text("\n\n".join(texts))


def _record(path: Path) -> tuple[dict[str, Any], str]:
    from benchsweep.qualification import read_measurement, record_document
    from benchsweep.report import measurement_table

    measurement = read_measurement(path)
    text = f"record {path}\n{measurement_table(measurement, width=table_width()).rstrip()}"
    return record_document(measurement, record=str(path)), text
