"""Which reels of many lots may be taken together: none whose record was withdrawn, no record twice."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.qualification._afterwards import Afterwards
from benchsweep.qualification.lots._skim import SkimmedReel

__all__ = ["usable"]

_NAMED = 20


def usable(reels: Sequence[SkimmedReel], afterwards: Afterwards) -> tuple[list[SkimmedReel], tuple[str, ...]]:
    """Return the reels that may be taken, and notes that name the others.

    A record that counts in several lots is taken once, of the lot that was opened first. One of which it is
    not known whether it was withdrawn is taken, and named; so is one that was corrected after it was added,
    with the margin that the lot was decided by.

    Raises
    ------
    ArchiveUnreachable
        The archive does not answer.
    """
    taken: dict[str, SkimmedReel] = {}
    twice: list[str] = []
    gone: list[str] = []
    unknown: list[str] = []
    corrected: list[str] = []
    for each in sorted(reels, key=lambda each: (each.opened_at, each.lot)):
        name = f"{each.reel} of the lot {each.lot}"
        if (first := taken.get(each.record)) is not None:
            twice.append(f"{name} is {first.reel} of the lot {first.lot}")
            continue
        try:
            withdrawn, changed = afterwards.since(each.record, each.path, each.added_at)
        except ArchiveUnreachable:
            raise
        except ArchiveError as error:
            unknown.append(f"{name}: {error.message}")
        else:
            if withdrawn is not None:
                gone.append(f"{name} ({withdrawn.by} on {withdrawn.at[:10]}: {withdrawn.reason})")
                continue
            if changed:
                corrected.append(name)
        taken[each.record] = each
    told = [
        ("left out, for their records were withdrawn: {}", gone),
        ("taken once, for one record counts in several lots: {}", twice),
        ("taken as they were graded, though corrected since (`benchsweep lot prove`): {}", corrected),
        ("taken, but whether their records were withdrawn is not known: {}", unknown),
    ]
    return list(taken.values()), tuple(words.format(_some(names)) for words, names in told if names)


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
