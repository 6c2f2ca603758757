from __future__ import annotations

from pathlib import Path

from benchsweep.cli._compare_options import EveryDays, KindName, Reason, ReferenceName
from benchsweep.cli._compare_text import print_reference
from benchsweep.cli._options import AsJson, By, ReferenceArchive

__all__ = ["interval"]


def interval(
    kind: KindName,
    name: ReferenceName,
    every_days: EveryDays,
    reason: Reason,
    by: By,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Set the interval after which a channel or a tester is due again.

    Example: `benchsweep compare interval tester FT-07 --every-days 45 --reason "found beyond" --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import change_interval

    view = change_interval(archive, kind.value, name, every_days=every_days, by=by, reason=reason)
    print_reference(view, as_json=as_json)
