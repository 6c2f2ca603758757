"""What a lot is graded against: always the text of the day it was opened."""

from __future__ import annotations

from benchsweep import archive, limits
from benchsweep.archive.places import below
from benchsweep.errors import BenchsweepError, LotRefused
from benchsweep.qualification._requirement_texts import requirement_digest, requirement_from_texts
from benchsweep.records import LotOpened, LotState

__all__ = ["RequirementsInForce", "check_requirement", "requirement_digest", "requirement_of", "told_as"]

_OF_CABLES = ("cable", "stranded-cable")


def check_requirement(requirement: limits.Requirement) -> None:
    """Refuse a requirement that could not be found again under its name.

    Raises
    ------
    LotRefused
    """
    why = ""
    try:
        in_force = limits.load_requirement(requirement.name)
    except BenchsweepError as error:
        why = error.message
    else:
        if in_force.texts != requirement.texts:
            why = f"the name {requirement.name} stands for another file"
    if why:
        raise LotRefused(
            f"the requirement {requirement.name} could not be found again by its name: {why}",
            hint="Put its file into ./requirements/ or the data folder, see `benchsweep config`.",
        )


class RequirementsInForce:
    """Requirements by name, each read once."""

    def __init__(self) -> None:
        self._found: dict[str, limits.Requirement | BenchsweepError] = {}

    def in_force(self, opened: LotOpened) -> limits.Requirement:
        """Return the requirement of a lot, with the text that it had when the lot was opened.

        Raises
        ------
        LotRefused
            It has another text now, or there is none of that name any more.
        """
        found = self._load(opened.requirement)
        if why := _why_not(found, opened):
            raise LotRefused(
                why,
                hint="Every reel of a lot is graded against one text. Put the file as it was then into "
                "./requirements/ (kept gradings hold its text), or open a new lot.",
            )
        assert isinstance(found, limits.Requirement)  # noqa: S101 - `_why_not` tells of anything else
        return found

    def doubts(self, opened: LotOpened) -> tuple[str, ...]:
        """Return what a reader must know of the requirement of a lot, in words."""
        found = self._load(opened.requirement)
        if why := _why_not(found, opened):
            return (why,)
        assert isinstance(found, limits.Requirement)  # noqa: S101 - as above
        return told_as(found)

    def _load(self, name: str) -> limits.Requirement | BenchsweepError:
        if name not in self._found:
            try:
                self._found[name] = limits.load_requirement(name)
            except BenchsweepError as error:
                self._found[name] = error
        return self._found[name]


def told_as(requirement: limits.Requirement) -> tuple[str, ...]:
    """Return what is doubtful about judging reels by a requirement, in words; empty for one of cable."""
    if requirement.configuration in _OF_CABLES:
        return ()
    words = f"{requirement.name} is a requirement for a {requirement.configuration}, not for cable"
    if requirement.normalise is None:
        words += ": nothing is brought to a length of 100 m"
    return (words,)


def requirement_of(folder: archive.Source, state: LotState) -> limits.Requirement:
    """Return the requirement of a lot with the text of its opening, also when it has another one now.

    The text is taken from gradings that the archive keeps of the records of the lot.

    Raises
    ------
    LotRefused
        It has another text now, and no grading keeps the old one.
    ArchiveError
        A grading cannot be read.
    """
    opened = state.opened
    known = RequirementsInForce()
    try:
        return known.in_force(opened)
    except LotRefused as error:
        for entry in reversed(state.added):
            where = archive.root_of(below(folder, *entry.path.split("/")))
            for source in {kept.grading for kept in archive.kept_verdicts(where, entry.record, damaged=[])}:
                for item in archive.read_grading(source).requirements:
                    if requirement_digest(item.files) == opened.requirement_digest:
                        return requirement_from_texts(opened.requirement, item.files)
        raise error


def _why_not(found: limits.Requirement | BenchsweepError, opened: LotOpened) -> str:
    if isinstance(found, BenchsweepError):
        return f"the requirement {opened.requirement} cannot be read any more: {found.message}"
    if requirement_digest(found.texts) == opened.requirement_digest:
        return ""
    edition = "" if found.edition == opened.edition else f" (edition {found.edition}, then {opened.edition})"
    return (
        f"the requirement {opened.requirement} has another text now than when the lot {opened.lot} was "
        f"opened{edition}"
    )
