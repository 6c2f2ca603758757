"""Keep verdicts in the archive, with all that is needed to prove them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from benchsweep import archive, limits
from benchsweep.errors import UsageError
from benchsweep.qualification._correct import writable_root
from benchsweep.qualification._graded import Qualified
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._reduction import software_versions
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.records import RequirementText, Verdict

__all__ = ["keep_grading", "keep_verdicts", "requirement_texts", "told_of"]


def requirement_texts(requirements: Sequence[limits.Requirement]) -> tuple[RequirementText, ...]:
    """Return requirements as a grading keeps them, each once.

    Raises
    ------
    UsageError
        Two different ones have the same name: a verdict could not tell which it means.
    """
    found = dict.fromkeys(RequirementText(item.name, item.edition, item.texts) for item in requirements)
    names = [item.name for item in found]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise UsageError(
            f"two different requirements are called {twice[0]}: kept verdicts could not tell which they mean",
            hint="Change the name in one of the files, or grade against one at a time.",
        )
    return tuple(found)


def told_of(
    *,
    length_m: float | None = None,
    conditions: limits.Conditions | None = None,
    budget: str | None = None,
) -> dict[str, str]:
    """Return what was told in place of what the records say, as a grading keeps it.

    Parameters
    ----------
    budget
        Name or path; its text is kept.

    Raises
    ------
    UnknownName, DefinitionError
        There is no such budget, or it is wrong.
    """
    told = {} if length_m is None else {"length_m": repr(float(length_m))}
    if conditions is not None:
        if conditions.temperature_degc is not None:
            told["temperature_degc"] = repr(float(conditions.temperature_degc))
        if conditions.construction is not None:
            told["construction"] = conditions.construction
        if conditions.extrapolate_cold:
            told["extrapolate_cold"] = "yes"
    return told if budget is None else {**told, "budget_toml": budget_text(budget)}


def keep_verdicts(
    graded: Sequence[tuple[str, Verdict]],
    requirements: Sequence[limits.Requirement],
    *,
    folder: Path,
    by: str = "",
    told: Mapping[str, str] | None = None,
) -> Path:
    """Store verdicts in an archive as one new file and return its path.

    Parameters
    ----------
    graded
        Content hash of a record, and a verdict about it.
    requirements
        Those that the verdicts name.
    folder
        The archive.
    by
        Who graded.
    told
        See `told_of`.

    Raises
    ------
    UsageError
        Two requirements of one name.
    ArchiveLocked, ArchiveError
        It cannot be written.
    """
    texts = requirement_texts(requirements)
    grading = archive.grading_of(
        graded, texts, made_at=utc_now("microseconds"), by=by, software=software_versions(), told=told
    )
    return archive.write_grading(grading, folder)


def keep_grading(
    result: Qualified,
    content_hash: str,
    requirements: Sequence[limits.Requirement],
    *,
    by: str = "",
    told: Mapping[str, str] | None = None,
    once: bool = False,
) -> Qualified:
    """Store the verdicts of one record in the archive it is in; return the result with where they are.

    Parameters
    ----------
    once
        Not if the very same are kept already, as by a run that was killed just after.

    Raises
    ------
    UsageError
        Two requirements of one name; a series that is not finished: it has no content hash; a record at an
        address: nothing is written there.
    ArchiveLocked, ArchiveError
        It cannot be written.
    """
    if not content_hash:
        raise UsageError(
            f"{result.record}: this series is not finished, so that nothing can point at it",
            hint="Leave --keep out, or finish it with `benchsweep record --finish`.",
        )
    pairs = [(content_hash, verdict) for verdict in result.verdicts]
    folder = writable_root(result.record)
    kept: dict[archive.Source, list[Verdict]] = {}
    for item in archive.kept_verdicts(folder, content_hash) if once else ():
        kept.setdefault(item.grading, []).append(item.verdict)
    for path, verdicts in kept.items():
        if tuple(verdicts) == result.verdicts:
            return replace(result, grading=Path(path))
    return replace(result, grading=keep_verdicts(pairs, requirements, folder=folder, by=by, told=told))
