from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson, By, LotArchive, LotName, Quiet, plain_text
from benchsweep.cli._output import print_json, print_lines, say

if TYPE_CHECKING:
    from benchsweep.records import LotState, ReelAdded

__all__ = ["add"]


def add(
    lot: LotName,
    records: Annotated[
        list[Path], typer.Argument(metavar="RECORD...", help="Records of reels of the sample (.h5).")
    ],
    by: By,
    retest: Annotated[
        str,
        typer.Option(
            "--retest",
            metavar="REASON",
            callback=plain_text,
            help="Why an earlier result of the same reel does not count any more; kept with the lot.",
        ),
    ] = "",
    reuse: Annotated[
        str,
        typer.Option(
            "--reuse",
            metavar="REASON",
            callback=plain_text,
            help="Why records that count in another lot count in this one, too; kept, and told by both lots.",
        ),
    ] = "",
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Take records as the results of reels: each is graded against the requirement of the lot.

    Refused are reels that were not drawn, records of another product, a second result without --retest, and
    records that count in another lot without --reuse.
    Records before the first that is refused are kept. To measure and add in one go see `benchsweep qualify
    --lot`. Exit code 1 when a reel does not conform, 3 when one is undecided.

    Example: `benchsweep lot add 26-118 archive/20260301T101500Z-R017.h5 --by "R. Lind"`
    """
    from benchsweep.errors import BenchsweepError
    from benchsweep.qualification import add_record, lot_document

    view, outcomes = None, []
    try:
        for record in records:
            view, added = add_record(archive, lot, record, by=by, retest_reason=retest, reuse_reason=reuse)
            outcomes.append(added.result.conforms)
            if retest and not quiet and _replaced_a_pass(view.state, added):
                say(f"note: {added.reel} conformed before: this result replaces a pass")
            if not as_json:
                told = [f"{added.result.outcome.value}: {added.reel}, {record}"]
                print_lines([*told, *(f"  {words}" for words in added.result.failing)])
    except BenchsweepError:
        if outcomes and len(records) > 1 and not quiet:
            say(f"added before: {len(outcomes)} of {len(records)}")
        raise
    if view is None:
        return
    if as_json:
        print_json(lot_document(view))
    elif not quiet:
        missing, sample = len(view.state.missing), len(view.state.sample)
        say(f"lot {lot}: {sample - missing} of {sample} reels tested")
        for words in view.doubts:
            say(f"note: {words}")
    raise typer.Exit(1 if False in outcomes else 3 if None in outcomes else 0)


def _replaced_a_pass(state: LotState, added: ReelAdded) -> bool:
    """Tell whether the result of the same reel before this one conformed."""
    of_it = [each for each in state.added if each.reel == added.reel]
    return len(of_it) > 1 and of_it[-2].result.conforms is True
