"""What became of the bench records that a channel or the comparisons of a tester stand on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from benchsweep.errors import ArchiveError, ArchiveUnreachable
from benchsweep.qualification._afterwards import Afterwards, corrected_since
from benchsweep.qualification._corrections import withdrawn_words
from benchsweep.qualification.comparisons._histories import ChannelState, FieldTesterState, Root
from benchsweep.records import corrections_in_force

__all__ = ["since_words_of_channel", "since_words_of_tester"]


def since_words_of_channel(folder: Root, state: ChannelState) -> tuple[str, ...]:
    """Return which records that count were withdrawn, corrected since or are gone, in words.

    Raises
    ------
    ArchiveUnreachable
        The archive does not answer. A note that cannot be read is told of.
    """
    standing = [(f"the record {each.path}", each.record, each.path, each.at) for each in state.baseline]
    return tuple(_told(folder, standing, "it counts here still"))


def since_words_of_tester(folder: Root, state: FieldTesterState) -> tuple[str, ...]:
    """Return the same of the records that comparisons since the last change of a tester stand on."""
    numbers = {event.at: number for number, event in enumerate(state.compared, start=1)}
    standing = [
        (
            f"comparison {numbers[event.at]}, with {event.comparison.record}",
            event.comparison.record_digest,
            event.comparison.record,
            event.at,
        )
        for event in state.alike
    ]
    return tuple(_told(folder, standing, "the comparison stands on it"))


def _told(folder: Root, standing: Iterable[tuple[str, str, str, str]], still: str) -> Iterator[str]:
    found = Afterwards(folder)
    for what, record, path, at in standing:
        try:
            notes = found.notes(record, path)
        except ArchiveUnreachable:
            raise
        except ArchiveError as error:
            yield f"{what}: whether it was withdrawn or corrected since is not known: {error.message}"
            continue
        withdrawn = corrections_in_force(notes).withdrawn
        if withdrawn is not None:
            yield f"{what}: {withdrawn_words(withdrawn)}; {still}"
        if found.is_gone(path):
            yield f"{what}: the record is not there any more"
        for words, reason in corrected_since(notes, at):
            yield f"{what}: {words} ({reason}); {still} as it was"
