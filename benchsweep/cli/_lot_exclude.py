from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._lot_options import Reason, ReelName
from benchsweep.cli._options import AsJson, By, LotArchive, LotName
from benchsweep.cli._output import print_json, print_lines

__all__ = ["exclude"]


def exclude(
    lot: LotName,
    reel: ReelName,
    reason: Reason,
    by: By,
    with_result: Annotated[
        bool,
        typer.Option(
            "--with-result",
            help="Also when it was tested and conforms: its result is taken out for good, and the lot tells.",
        ),
    ] = False,
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Take a reel out of the sample; the next one in the random order takes its place.

    For a reel that cannot be tested, or whose result says nothing of the lot: damaged in transport, taken for
    another. A reel is not excluded because it does not conform; one that was tested and conforms is only with
    --with-result. The reason stands in the report.

    Example: `benchsweep lot exclude 26-118 R017 --reason "crushed by the fork lift here" --by "R. Lind"`
    """
    from benchsweep.qualification import exclude_reel, lot_document, read_lot

    before = read_lot(archive, lot).state.sample
    view = exclude_reel(archive, lot, reel, by=by, reason=reason, with_result=with_result)
    if as_json:
        print_json(lot_document(view))
        return
    lines = [f"excluded {reel}"]
    lines += [f"test {each} instead" for each in view.state.sample if each not in before]
    print_lines(lines)
