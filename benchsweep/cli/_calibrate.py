from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import (
    Address,
    Afresh,
    AsJson,
    CautionsReadBy,
    Operator,
    Quiet,
    StationName,
    SwitchAddress,
)
from benchsweep.cli._output import print_json, print_lines, progress_to_stderr
from benchsweep.cli._station import bench_of

__all__ = ["calibrate"]


def calibrate(
    station: StationName,
    kit: Annotated[
        str | None, typer.Option("--kit", metavar="K", help="Calibration kit; the station's own by default.")
    ] = None,
    method: Annotated[
        str | None,
        typer.Option(
            "--method", metavar="M", help="How to calibrate; what the station or the kit says by default."
        ),
    ] = None,
    address: Address = None,
    switch_address: SwitchAddress = None,
    operator: Operator = "",
    cautions_read_by: CautionsReadBy = None,
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Calibrate a bench at the plane where the specimen is attached, step by step.

    First the standards of one port, at every port; then those that join port 1 with each other port. Which
    they are is a matter of the method: short, open, load and thru, or for example thru, reflect and lines.

    Example: `benchsweep calibrate --station simulated`
    """
    from benchsweep.qualification import calibrate as run
    from benchsweep.qualification import calibration_document, check_grid, check_kit, check_method

    check_kit(kit)
    chosen = check_method(method)
    progress = progress_to_stderr(quiet)
    with bench_of(
        station,
        address,
        progress=progress,
        operator=operator,
        cautions_read_by=cautions_read_by,
        switch_address=switch_address,
    ) as bench:
        for words in check_grid(bench):
            progress(f"note: {words}")
        result = run(bench, kit=kit, method=chosen, afresh=afresh, progress=progress)
    if as_json:
        document = calibration_document(result.calibration, path=str(result.path))
        lists = {"incidents": list(result.incidents), "warnings": list(result.warnings)}
        print_json({**document, **lists})
        return
    stored = result.calibration
    thrus = {name: value for name, value in stored.residuals_db.items() if name.startswith("thru")}
    lines = [
        f"calibration  {result.path}",
        f"kit          {stored.kit}; {stored.method}",
        f"grid         {stored.terms.frequency_hz.size} points, {len(stored.terms.analyzer_ports)} ports",
    ]
    if thrus:
        name, worst = max(thrus.items(), key=lambda item: item[1])
        lines.append(
            f"check        corrected throughs come back to their definition within {worst:.1f} dB ({name}); "
            f"the kit refuses above {result.refused_above_db:g} dB"
        )
    for head, sentences in (("incidents", result.incidents), ("warnings", result.warnings)):
        lines += [f"{'' if number else head:<13}{words}" for number, words in enumerate(sentences)]
    print_lines(lines)
