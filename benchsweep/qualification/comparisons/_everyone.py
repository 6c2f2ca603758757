"""All channels and testers of an archive, each history read once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from benchsweep.archive.places import below
from benchsweep.archive.references import REFERENCES, file_name, list_references, read_history
from benchsweep.errors import RecordDamaged
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    FieldTesterState,
    Root,
    Unread,
    state_of_channel,
    state_of_tester,
    telling,
)
from benchsweep.qualification.comparisons._witness import wrong_histories

__all__ = ["Everyone", "everyone", "tell"]

_LOST = "Restore the file from a copy; `benchsweep archive check` looks at all of the archive."


@dataclass(frozen=True, slots=True)
class Everyone:
    """States of all channels and testers of an archive, by name.

    `unread` are the histories that cannot be read.
    """

    channels: dict[str, ChannelState] = field(default_factory=dict)
    testers: dict[str, FieldTesterState] = field(default_factory=dict)
    unread: Unread = field(default_factory=list)

    def matings(self, channel: str) -> list[str]:
        """Return when testers were compared on a channel."""
        events = (event for state in self.testers.values() for event in state.compared)
        return [event.comparison.when for event in events if event.comparison.channel == channel]


def everyone(folder: Root) -> Everyone:
    """Return the channels and testers of an archive; those that cannot be read are named."""
    found = Everyone()
    kinds: tuple[Literal["channel", "tester"], ...] = ("channel", "tester")
    for kind in kinds:
        for file in list_references(folder, kind):
            with telling(file.path, found.unread):
                events = read_history(file.path, must_exist=True).events
                if kind == "channel":
                    found.channels[file.name] = state_of_channel(events)
                else:
                    found.testers[file.name] = state_of_tester(events)
    return found


def tell(folder: Root, every: Everyone, unread: Unread | None) -> None:
    """Hand over what cannot be read, is gone or was cut off, or raise the first of it."""
    found = [*every.unread]
    found += [
        (below(folder, REFERENCES, file_name(seen.kind, seen.name)), RecordDamaged(words, hint=_LOST))
        for seen, words in wrong_histories(folder)
    ]
    if unread is not None:
        unread += found
    elif found:
        raise found[0][1]
