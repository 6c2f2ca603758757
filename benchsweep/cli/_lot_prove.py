from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._lot_options import one_requirement
from benchsweep.cli._options import AsJson, LotArchive, LotName, Quiet, plain_text, requirement_names
from benchsweep.cli._output import print_json, print_text, progress_to_stderr, table_width
from benchsweep.errors import UsageError

__all__ = ["prove"]


def prove(
    lot: LotName,
    against: Annotated[
        str | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Another requirement: what the decision would be against it.",
        ),
    ] = None,
    digest: Annotated[
        str | None,
        typer.Option(
            "--digest",
            metavar="DIGITS",
            callback=plain_text,
            help="The digest that a report or `lot status` printed, kept elsewhere; 16 digits of it or more.",
        ),
    ] = None,
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Compute a lot again from the raw sweeps of its records: order of the draw, every reel, the decision.

    Its history is held against what other lots saw of it, and against --digest: entries that were taken off
    at its end leave no other trace. Nothing is changed or added. Exit code 0 when all is as it was decided, 1
    when something differs, 3 when nothing does but the lot is open: nothing was decided yet. With --against:
    0 it would be accepted, 1 not, 3 that is not known.

    Example: `benchsweep lot prove 26-118 --against iec-6-cable`
    """
    from benchsweep.qualification import exit_code_of_proof, proof_document, prove_lot

    requirement = None if against is None else one_requirement(against)
    if digest is not None and not digest.strip():
        raise UsageError("--digest is empty", hint="Give the digest, or leave the option out.")
    proof = prove_lot(
        archive, lot, against=requirement, digest=digest or "", progress=progress_to_stderr(quiet)
    )
    document = proof_document(proof)
    if as_json:
        print_json(document)
    else:
        from benchsweep.report import lot_proof_table

        print_text(lot_proof_table(document, width=table_width()).rstrip("\n"))
    raise typer.Exit(exit_code_of_proof(proof))
