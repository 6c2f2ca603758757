"""The accuracy that is declared for a tester: another one from now on, its text at a comparison, in words."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep import testers
from benchsweep.archive.references import ReferenceFile
from benchsweep.errors import ReferenceRefused
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._histories import (
    FieldTesterState,
    Root,
    append_to,
    declared_accuracy,
    local_archive,
)
from benchsweep.qualification.comparisons._view import FieldTesterView, view_of_tester
from benchsweep.records import AccuracyDeclared, FieldTesterRegistered, ReferenceEvent

__all__ = ["accuracy_at", "accuracy_in_force", "declare_accuracy", "declared_words"]


def declare_accuracy(folder: Root, tester: str, accuracy: str, *, by: str, reason: str) -> FieldTesterView:
    """Declare another accuracy for a registered tester from now on; comparisons before keep theirs.

    Parameters
    ----------
    accuracy
        A name, or a file that the laboratory filled; empty: none any more.

    Raises
    ------
    UnknownName
        There is no such tester, or no such accuracy.
    DefinitionError
        Its file is wrong or not filled.
    ReferenceRefused
        It is the one in force.
    UsageError, ArchiveError
        No reason, nobody; the history cannot be written.
    """
    local_archive(folder)
    check_text(by, "who declares it", hint="Name who does it.")
    check_text(reason, "the reason", hint="Say why; it is kept in the history.")
    file = ReferenceFile(folder, "tester", tester)
    file.history()
    if accuracy:
        testers.load_accuracy(accuracy)

    def fits(events: tuple[ReferenceEvent, ...]) -> None:
        if declared_accuracy(events) == accuracy:
            what = f"the accuracy {accuracy} is declared" if accuracy else "no accuracy is declared"
            raise ReferenceRefused(
                f"the tester {tester}: {what} already",
                hint="A file that was changed counts from the next comparison on; nothing is to be done.",
            )

    event = AccuracyDeclared(utc_now("microseconds"), by, accuracy, reason)
    return view_of_tester(folder, file, append_to(file, event, fits))


def accuracy_in_force(state: FieldTesterState) -> str:
    """Return the text of the accuracy file in force, to be kept with a comparison; empty: none is declared.

    Raises
    ------
    UnknownName, DefinitionError
        It is not there any more, or wrong, or was made a template again.
    """
    if not state.accuracy:
        return ""
    testers.load_accuracy(state.accuracy)
    return testers.accuracy_text(state.accuracy)


def accuracy_at(view: FieldTesterView, number: int) -> str:
    """Return the name of the accuracy that was in force at a comparison, from 1; empty: none was."""
    return declared_accuracy(view.events[: view.events.index(view.compared[number - 1])])


def declared_words(events: Sequence[ReferenceEvent]) -> tuple[str, ...]:
    """Return what accuracy was declared, the newest first, in words; empty: never any."""
    told: list[str] = []
    for event in events:
        if isinstance(event, FieldTesterRegistered) and event.accuracy:
            told.append(event.accuracy)
        elif isinstance(event, AccuracyDeclared):
            told.append(f"{event.accuracy or 'none'}, since {event.at[:10]} ({event.by}: {event.reason})")
    first, *before = told[::-1] or [""]
    return (first, *(f"before: {words}" for words in before)) if first else ()
