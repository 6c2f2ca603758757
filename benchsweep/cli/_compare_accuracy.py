from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import Reason, TesterName, accuracy_names
from benchsweep.cli._compare_text import print_tester
from benchsweep.cli._options import AsJson, By, ReferenceArchive

__all__ = ["accuracy"]


def accuracy(
    tester: TesterName,
    name: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            autocompletion=accuracy_names,
            help="The accuracy: a name (see `benchsweep compare mappings`), a .toml file; '' for none.",
        ),
    ],
    reason: Reason,
    by: By,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Declare another accuracy for a registered tester, from the next comparison on.

    Comparisons before keep theirs, and are proven with it.

    Example: `benchsweep compare accuracy FT-07 our-tester --reason "manual of 2026 read" --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import declare_accuracy

    print_tester(declare_accuracy(archive, tester, name, by=by, reason=reason), as_json=as_json)
