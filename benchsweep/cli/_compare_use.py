from __future__ import annotations

from pathlib import Path

from benchsweep.cli._compare_options import KindName, Reason, ReferenceName
from benchsweep.cli._compare_text import print_reference
from benchsweep.cli._options import AsJson, By, ReferenceArchive

__all__ = ["return_", "withdraw"]


def withdraw(
    kind: KindName,
    name: ReferenceName,
    reason: Reason,
    by: By,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Take a channel or a tester out of use: nothing is compared with it until it is returned.

    Example: `benchsweep compare withdraw channel "reference 2" --reason "NEXT moved" --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import withdraw_reference

    view = withdraw_reference(archive, kind.value, name, by=by, reason=reason)
    print_reference(view, as_json=as_json)


def return_(
    kind: KindName,
    name: ReferenceName,
    reason: Reason,
    by: By,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Return a channel or a tester to use; its baseline begins anew.

    Example: `benchsweep compare return tester FT-07 --reason "repaired, new plugs" --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import return_reference

    view = return_reference(archive, kind.value, name, by=by, reason=reason)
    print_reference(view, as_json=as_json)
