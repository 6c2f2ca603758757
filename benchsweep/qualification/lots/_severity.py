"""How severely a lot is inspected: by the switching rules, or as a person says, with a reason."""

from __future__ import annotations

from pathlib import Path

from benchsweep.errors import LotRefused
from benchsweep.qualification.lots._inspection import LotKind, inspection_now
from benchsweep.records import Severity

__all__ = ["choose_severity"]

_ORDER = (Severity.REDUCED, Severity.NORMAL, Severity.TIGHTENED)


def choose_severity(
    folder: Path, kind: LotKind, asked: Severity | None, *, at: str, by: str, reason: str, again: bool
) -> tuple[Severity, str, tuple[str, ...]]:
    """Return the severity of a lot, why, in a sentence, and what is doubtful about the lots before it.

    Parameters
    ----------
    asked
        What a person asks for; None: what the switching rules say.
    at
        When it is opened, ISO 8601; see `inspection_now`.
    by, reason
        Who says so, and why it departs from them, resumes inspection, or goes to reduced
        inspection; may be empty.
    again
        It is a resubmission: never reduced, and not kept back while inspection is discontinued.

    Raises
    ------
    LotRefused
        Inspection is discontinued and no reason is given to resume it; a less severe inspection than the
        rules lead to; another severity without a reason.
    ArchiveError
        A history cannot be read.
    """
    inspection, count, doubts = inspection_now(folder, kind, now=at)
    said = reason.strip()
    if inspection.discontinued and not again:
        if not said:
            raise LotRefused(
                inspection.words,
                hint="When the supplier has put right what was wrong, open the lot with a reason that says "
                "so: it is inspected under tightened inspection.",
            )
        if asked not in (None, Severity.TIGHTENED):
            raise LotRefused(
                f"after inspection was discontinued it is resumed as tightened, not as {asked}",
                hint="Leave the severity out.",
            )
        words = f"tightened inspection resumed by {by}: {said}; {inspection.words}"
        return Severity.TIGHTENED, words, doubts
    rules = inspection.severity
    if again and rules is Severity.REDUCED:
        rules = Severity.NORMAL
    lots = "no lot before it" if not count else f"{count} lot{'s' if count > 1 else ''} before it"
    told = f"{inspection.words} (switching rules, {lots})"
    if again and rules is not inspection.severity:
        told = f"normal inspection: a resubmission is never inspected under reduced inspection ({told})"
    if asked in (None, rules):
        return rules, told, doubts
    assert asked is not None  # noqa: S101 - for the type checker
    agreed = asked is Severity.REDUCED and inspection.reduced_possible and not again
    if _ORDER.index(asked) < _ORDER.index(rules) and not agreed:
        hint = "To less severe inspection only the switching rules lead."
        if asked is Severity.REDUCED:
            hint = "Reduced inspection needs a switching score that allows it, and a person who agrees."
        raise LotRefused(f"{asked} inspection is not possible: {told}", hint=hint)
    if not said:
        raise LotRefused(
            f"{asked} inspection departs from the switching rules, which say {told}",
            hint="Give the reason, or leave the severity out.",
        )
    how = "agreed to" if agreed else "directed"
    return asked, f"{asked} inspection {how} by {by}: {said}; without that {told}", doubts
