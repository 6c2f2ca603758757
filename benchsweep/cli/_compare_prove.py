from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import TesterName
from benchsweep.cli._options import AsJson, ReferenceArchive
from benchsweep.cli._output import print_json, print_text, table_width
from benchsweep.errors import UsageError

__all__ = ["prove"]


def prove(
    tester: TesterName,
    number: Annotated[
        int | None,
        typer.Option(
            "--number", metavar="N", min=1, help="Which comparison of its history; the last by default."
        ),
    ] = None,
    digest: Annotated[
        str | None,
        typer.Option(
            "--digest", metavar="HEX", help="Digest of the history as a report printed it: is it the same?"
        ),
    ] = None,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Compare again from the kept file, mapping and accuracy and the bench record; nothing is changed.

    Exit code 0 when all is as it was decided, 1 when something differs.

    Example: `benchsweep compare prove FT-07 --number 3`
    """
    from benchsweep.qualification.comparisons import comparison_proof_document, prove_comparison

    if digest is not None and not digest.strip():
        raise UsageError("--digest is empty", hint="Give the digest, or leave the option out.")
    proof = prove_comparison(archive, tester, number=number, digest=digest or "")
    document = comparison_proof_document(proof)
    if as_json:
        print_json(document)
    else:
        from benchsweep.report import labelled_table

        entries = [
            ("proof", ["all is as it was" if not proof.differs else "not as it was"]),
            ("differs", proof.differs),
            ("decided", [f"{proof.was.outcome.value}: {proof.was.words}"]),
            ("now", [f"{proof.now.outcome.value}: {proof.now.words}"]),
            ("doubtful", proof.doubts),
            ("digest", [proof.digest]),
        ]
        print_text(labelled_table(entries, width=table_width()))
    raise typer.Exit(1 if proof.differs else 0)
