from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, LengthM, Records
from benchsweep.cli._output import print_json, print_text, table_width

__all__ = ["show"]


def show(
    records: Records,
    against: Annotated[
        list[str] | None,
        typer.Option("--against", metavar="REQUIREMENT", help="Also print the verdict against it."),
    ] = None,
    length_m: LengthM = None,
    as_json: AsJson = False,
) -> None:
    """Print what a record holds, after checking that it is undamaged; with --against its verdict too.

    Example: `benchsweep show archive/20260301T101500Z-cord.h5`
    """
    from benchsweep.qualification import (
        grade_record,
        load_requirements,
        read_measurement,
        record_document,
        verdict_document,
    )
    from benchsweep.report import measurement_table, verdict_table

    requirements = load_requirements(against or [])
    documents = []
    texts = []
    for path in records:
        measurement = read_measurement(path)
        document = record_document(measurement, record=str(path))
        texts.append(f"record {path}\n{measurement_table(measurement, width=table_width()).rstrip()}")
        if requirements:
            graded = grade_record(path, requirements, length_m=length_m)
            document["verdicts"] = [verdict_document(verdict) for verdict in graded.verdicts]
            texts += [verdict_table(verdict, width=table_width()).rstrip() for verdict in graded.verdicts]
        documents.append(document)
    if as_json:
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        print_text("\n\n".join(texts))
