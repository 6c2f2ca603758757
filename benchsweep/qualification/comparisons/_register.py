"""Channels and testers are registered, taken out of use and returned, and their interval is changed."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep import limits, testers
from benchsweep.archive.references import ReferenceFile, create
from benchsweep.errors import BenchsweepError, UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_specimen, check_text
from benchsweep.qualification.comparisons._histories import (
    Root,
    append_to,
    checked_days,
    local_archive,
    refuse_in_use,
    refuse_withdrawn,
)
from benchsweep.qualification.comparisons._new_names import check_new_name
from benchsweep.qualification.comparisons._view import (
    ChannelView,
    FieldTesterView,
    read_channel,
    read_tester,
    view_of_channel,
    view_of_tester,
)
from benchsweep.records import (
    ChannelRegistered,
    FieldTesterRegistered,
    IntervalChanged,
    ReferenceEvent,
    Returned,
    Withdrawn,
)

__all__ = ["change_interval", "register_channel", "register_tester", "return_reference", "withdraw_reference"]


def register_channel(
    folder: Root,
    channel: str,
    *,
    parts: Sequence[str] = (),
    length_m: float | None = None,
    requirement: limits.Requirement,
    every_days: float,
    by: str,
    remarks: str = "",
) -> ChannelView:
    """Register a reference channel in an archive, which is made if it is missing.

    Parameters
    ----------
    channel
        The specimen that its records name.
    parts
        What it is made of, from end A on.
    requirement
        What margins are counted against; it must be found again by its name.
    every_days
        It is to be measured again after so many days at the latest.

    Raises
    ------
    ReferenceRefused
        There is a channel of that name.
    UsageError
        Empty names, a length or an interval that makes no sense, a requirement that is no shipped or own one.
    ArchiveError
        It cannot be written.
    """
    root = local_archive(folder)
    check_new_name(root, "channel", channel)
    check_specimen(channel, length_m)
    check_text(by, "who registers it", hint="Name who does it.")
    check_text(remarks, "the remarks", may_be_empty=True)
    for part in parts:
        check_text(part, "a part")
    _check_requirement(requirement)
    event = ChannelRegistered(
        utc_now("microseconds"),
        by,
        channel,
        tuple(parts),
        None if length_m is None else float(length_m),
        requirement.name,
        checked_days(every_days),
        remarks,
    )
    create(root, event)
    return read_channel(folder, channel)


def register_tester(
    folder: Root, tester: str, *, accuracy: str = "", every_days: float, by: str, remarks: str = ""
) -> FieldTesterView:
    """Register a field tester in an archive, which is made if it is missing.

    Parameters
    ----------
    accuracy
        Its declared accuracy: a name, or a file that the laboratory filled; empty: none, and nothing can be
        decided.

    Raises
    ------
    ReferenceRefused, UsageError, ArchiveError
        As `register_channel`.
    UnknownName, DefinitionError
        There is no such accuracy, or its file is wrong or not filled.
    """
    root = local_archive(folder)
    check_new_name(root, "tester", tester)
    check_text(by, "who registers it", hint="Name who does it.")
    check_text(remarks, "the remarks", may_be_empty=True)
    if accuracy:
        testers.load_accuracy(accuracy)
    event = FieldTesterRegistered(
        utc_now("microseconds"), by, tester, accuracy, checked_days(every_days), remarks
    )
    create(root, event)
    return read_tester(folder, tester)


def withdraw_reference(
    folder: Root, kind: str, name: str, *, by: str, reason: str
) -> ChannelView | FieldTesterView:
    """Take a channel or tester out of use.

    Raises
    ------
    UnknownName
        There is none of that name.
    ReferenceRefused
        It is withdrawn already.
    UsageError, ArchiveError
        No reason, nobody; the history cannot be written.
    """
    event = Withdrawn(utc_now("microseconds"), _who(by), _why(reason))
    return _added(folder, kind, name, event)


def return_reference(
    folder: Root, kind: str, name: str, *, by: str, reason: str
) -> ChannelView | FieldTesterView:
    """Return a channel or tester to use; its baseline begins anew. Raises as `withdraw_reference`."""
    event = Returned(utc_now("microseconds"), _who(by), _why(reason))
    return _added(folder, kind, name, event)


def change_interval(
    folder: Root, kind: str, name: str, *, every_days: float, by: str, reason: str
) -> ChannelView | FieldTesterView:
    """Change the interval after which it is due; raises as `withdraw_reference`."""
    event = IntervalChanged(utc_now("microseconds"), _who(by), checked_days(every_days), _why(reason))
    return _added(folder, kind, name, event)


def _added(folder: Root, kind: str, name: str, event: ReferenceEvent) -> ChannelView | FieldTesterView:
    local_archive(folder)
    if kind not in ("channel", "tester"):
        raise UsageError(f"{kind!r} is neither channel nor tester")
    file = ReferenceFile(folder, "channel" if kind == "channel" else "tester", name)

    def fits(events: tuple[ReferenceEvent, ...]) -> None:
        if isinstance(event, Withdrawn):
            refuse_withdrawn(file.kind, name, events)
        elif isinstance(event, Returned):
            refuse_in_use(file.kind, name, events)

    history = append_to(file, event, fits)
    if file.kind == "channel":
        return view_of_channel(folder, file, history)
    return view_of_tester(folder, file, history)


def _check_requirement(requirement: limits.Requirement) -> None:
    """Refuse a requirement that could not be found again under its name."""
    why = ""
    try:
        in_force = limits.load_requirement(requirement.name)
    except BenchsweepError as error:
        why = error.message
    else:
        if in_force.texts != requirement.texts:
            why = f"the name {requirement.name} stands for another file"
    if why:
        raise UsageError(
            f"the requirement {requirement.name} could not be found again by its name: {why}",
            hint="Put its file into ./requirements/ or the data folder, see `benchsweep config`.",
        )


def _who(by: str) -> str:
    return check_text(by, "who does it", hint="Name who does it.")


def _why(reason: str) -> str:
    return check_text(reason, "the reason", hint="Say why; it is kept in the history.")
