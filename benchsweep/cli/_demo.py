from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson, Quiet
from benchsweep.cli._output import print_json, print_lines, print_text, progress_to_stderr, table_width

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchsweep.qualification import CalibrationResult, Qualified

__all__ = ["demo"]

# An invented cable works and two of its cords: what the laboratory calls them, and the simulated part.
_CORDS = (("T118-01", "cord-2m"), ("T118-02", "cord-2m-untwisted-b"))
_REQUIREMENT = "tia-6a-cord"
_LENGTH_M = 2.0


def demo(
    output: Annotated[
        Path, typer.Option("--output", metavar="DIR", help="Folder for calibration, records and report.")
    ] = Path("benchsweep-demo"),
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Seed of the simulated bench.")] = 1,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Do the whole job on the embedded bench: calibrate, qualify a good and a defective cord, report.

    Everything is invented: the bench, the cords and the cable works they come from.

    Example: `benchsweep demo --output /tmp/demo`
    """
    from benchsweep.cli._items import report_items
    from benchsweep.cli._verdicts import verdict_texts
    from benchsweep.qualification import load_requirements, verdict_document
    from benchsweep.report import Particulars, english, report_document, write_html

    started = time.monotonic()
    progress = progress_to_stderr(quiet)
    calibrated, results = _run(output, seed, progress)
    progress("writing the report")
    requirements = load_requirements([_REQUIREMENT])
    items = [item for result in results for item in report_items(result, requirements)]
    document = report_document(
        items,
        english(),
        title="Demonstration: two cords of Tollmoor Cable Works",
        particulars=Particulars(issued_on=datetime.now(UTC).date().isoformat()),
    )
    page = write_html(output / "report.html", document)
    progress(f"done in {time.monotonic() - started:.0f} s")
    if as_json:
        print_json(
            {
                "schema": "benchsweep.demo/1",
                "calibration": str(calibrated.path),
                "verdicts": [verdict_document(verdict) for result in results for verdict in result.verdicts],
                "records": [str(result.record) for result in results],
                "report": str(page),
            }
        )
        return
    width = table_width()
    print_text("\n\n".join(text for result in results for text in verdict_texts(result, width=width)))
    print_lines(
        [
            "",
            f"calibration  {calibrated.path}",
            *(f"record       {result.record}" for result in results),
            f"report       {page}",
        ]
    )


def _run(
    output: Path, seed: int, progress: Callable[[str], None]
) -> tuple[CalibrationResult, list[Qualified]]:
    from benchsweep.qualification import (
        calibrate,
        check_specimen,
        insert_simulated_specimen,
        load_requirements,
        load_station,
        open_bench,
        qualify,
    )
    from benchsweep.simulator import BenchOptions, running_bench

    requirements = load_requirements([_REQUIREMENT])
    results = []
    with running_bench(BenchOptions(specimen=_CORDS[0][1], seed=seed)) as served:
        progress(f"simulated bench at {served.address}")
        with open_bench(load_station("simulated").at_own_bench(served.address), prompt=None) as bench:
            progress(f"analyzer: {bench.analyzer.identity.idn} ({bench.analyzer.identity.family})")
            calibrated = calibrate(bench, folder=output / "calibrations", progress=progress)
            for identifier, simulated in _CORDS:
                progress(f"cord {identifier} (simulated specimen {simulated})")
                insert_simulated_specimen(bench, simulated)
                result = qualify(
                    bench,
                    check_specimen(identifier, _LENGTH_M),
                    requirements,
                    solved=calibrated.calibration,
                    folder=output / "archive",
                    operator="demonstration",
                    progress=progress,
                )
                results.append(result)
    return calibrated, results
