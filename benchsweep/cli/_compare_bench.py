from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import ChannelName
from benchsweep.cli._compare_text import print_channel
from benchsweep.cli._options import AsJson, By, ReferenceArchive, plain_text

__all__ = ["bench"]


def bench(
    channel: ChannelName,
    record: Annotated[
        Path, typer.Argument(metavar="RECORD", help="Record of the channel in the archive (.h5).")
    ],
    by: By,
    leave_out: Annotated[
        str,
        typer.Option(
            "--leave-out",
            metavar="REASON",
            callback=plain_text,
            help="Keep it, but do not let it count for the baseline, and say why.",
        ),
    ] = "",
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="Withdraw the channel at once if it has moved.")
    ] = False,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Take a record as a measurement of a reference channel, and look whether the channel has moved.

    Check values of the record are held against those before by t limits (NIST e-Handbook, 2.3.5). Measure
    with `benchsweep qualify`, the channel's name as specimen. Exit code 1 when it has moved.

    Example: `benchsweep compare bench "reference 2" archive/20261128T101500Z-reference-2.h5 --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import add_bench_record, exit_code_of_channel

    view = add_bench_record(archive, channel, record, by=by, leave_out=leave_out, withdraw=withdraw)
    print_channel(view, as_json=as_json)
    raise typer.Exit(exit_code_of_channel(view))
