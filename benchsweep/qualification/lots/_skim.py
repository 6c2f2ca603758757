"""Many lots in a short time: what processes and switching rules need of them, and nothing else.

Checksums are compared, but entries are not decoded and not held against the rules; whoever decides about a
lot reads it whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from benchsweep import archive
from benchsweep.archive.lots import decode_event, lot_sources, read_opening, skim_history
from benchsweep.errors import RecordDamaged
from benchsweep.lots import random_order
from benchsweep.qualification.lots._histories import Unread, telling
from benchsweep.records import LotClosed, LotOpened, LotReplanned, LotState

__all__ = ["SkimmedReel", "Worst", "skimmed_decisions", "skimmed_reels"]

Worst = Mapping[tuple[str, str | None], float | None]
"""Parameter and end, or None for all of them, to the worst margin; None where one of them is not known."""


@dataclass(frozen=True, slots=True)
class SkimmedReel:
    """A reel that was tested: the result that counts, with content hash and file of its record."""

    supplier: str
    requirement: str
    lot: str
    opened_at: str
    reel: str
    measured_at: str
    worst: Worst
    record: str
    path: str
    added_at: str


def skimmed_reels(
    folder: archive.Source, wanted: Callable[[LotOpened], bool], unread: Unread | None = None
) -> Iterator[SkimmedReel]:
    """Yield every reel of a sample that has a result, of the lots that are wanted.

    As `lots.state_of`: the sample are the first reels of the order that are not excluded, and of several
    results of a reel the last one counts.

    Parameters
    ----------
    unread
        Gets the files that cannot be read, whether they would be wanted or not: they stop nothing then.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
    """
    for source in lot_sources(folder):
        reels: list[SkimmedReel] = []
        with telling(source, unread), _readable(source):
            opened = read_opening(source)
            if opened is not None and wanted(opened):
                reels = _reels_of(opened, skim_history(source))
        yield from reels


def skimmed_decisions(folder: archive.Source, wanted: Callable[[LotOpened], bool]) -> Iterator[LotState]:
    """Yield the lots that are wanted, without results: how they were opened, the plan in force, the decision.

    Of a closed lot the sample has as many reels as it had, without names.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
    """
    for source, opened in _openings(folder, wanted):
        with _readable(source):
            state = LotState(opened, opened.plan, (), ())
            for entry in skim_history(source, results=False)[1:]:
                if entry["event"] == "excluded":
                    continue
                event = decode_event(entry)
                if isinstance(event, LotReplanned):
                    state = replace(state, plan=event.plan, replanned=(*state.replanned, event))
                elif isinstance(event, LotClosed):
                    sample = ("",) * state.plan.sample_size
                    state = replace(state, closed=event, nonconforming=event.nonconforming, sample=sample)
        yield state


def _openings(
    folder: archive.Source, wanted: Callable[[LotOpened], bool]
) -> Iterator[tuple[archive.Source, LotOpened]]:
    for source in lot_sources(folder):
        opened = read_opening(source)
        if opened is not None and wanted(opened):
            yield source, opened


@contextmanager
def _readable(source: archive.Source) -> Iterator[None]:
    """Tell of an entry that is none, though its checksum is right, as reading it whole does."""
    try:
        yield
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        if isinstance(error, RecordDamaged):
            raise
        raise RecordDamaged(
            f"{source}: an entry of this lot is none: {error}", hint="Restore the file from a copy."
        ) from error


def _reels_of(opened: LotOpened, entries: tuple[dict[str, Any], ...]) -> list[SkimmedReel]:
    size, excluded = opened.plan.sample_size, set()
    last: dict[str, dict[str, Any]] = {}
    for entry in entries[1:]:
        kind = entry["event"]
        if kind == "added":
            last[entry["reel"]] = entry
        elif kind == "excluded":
            excluded.add(entry["reel"])
        elif kind == "replanned":
            size = int(entry["plan"]["sample_size"])
    if not last:
        return []
    sample = [reel for reel in random_order(opened.reels, opened.seed) if reel not in excluded][:size]
    return [
        SkimmedReel(
            opened.supplier,
            opened.requirement,
            opened.lot,
            opened.at,
            reel,
            str(last[reel]["result"]["measured_at"]),
            _worst(last[reel]["result"]["margins"]),
            str(last[reel]["record"]),
            str(last[reel]["path"]),
            str(last[reel]["at"]),
        )
        for reel in sample
        if reel in last
    ]


def _worst(margins: list[dict[str, Any]]) -> Worst:
    """Return the worst margins of a result: as `ReelResult.margin_of` for every parameter and end it has."""
    found: dict[tuple[str, str | None], float | None] = {}
    for each in margins:
        parameter, end, told = each["parameter"], each["end"], each["margin"]
        margin = None if told is None else float(told)  # infinity stands as a word
        for at in (None,) if end is None else (None, end):
            if (parameter, at) not in found:
                found[parameter, at] = margin
                continue
            before = found[parameter, at]
            # One that is not known might be the worst.
            found[parameter, at] = None if before is None or margin is None else min(before, margin)
    return found
