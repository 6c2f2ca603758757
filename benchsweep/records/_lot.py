from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.records._reel import ReelResult
from benchsweep.records._sampling import SamplingPlan, VariablesDecision

__all__ = [
    "LotClosed",
    "LotEvent",
    "LotOpened",
    "LotReplanned",
    "LotState",
    "ReelAdded",
    "ReelExcluded",
    "SeenLot",
]


@dataclass(frozen=True, slots=True)
class SeenLot:
    """What another lot was when a lot was opened: by that it is known later that nothing of it went.

    Parameters
    ----------
    lot
        Its name.
    entries
        How many entries its history had.
    digest
        What named these: 64 hexadecimal digits.
    """

    lot: str
    entries: int
    digest: str


@dataclass(frozen=True, slots=True)
class LotOpened:
    """The first entry of the history of a lot.

    Parameters
    ----------
    at, by
        ISO 8601 time in UTC; who.
    lot, supplier, product
        Names; the product is what records of its reels must be of.
    reels
        Every reel of the lot, by the name that its record will have as specimen.
    requirement, edition, requirement_digest
        What reels are graded against, and a digest of its text as it was then.
    decision_rule, construction
        As for `grade`; `construction` may be empty.
    plan
        The sampling plan.
    seed
        Text that the random order of the reels is made from.
    seed_given
        A person gave the seed; otherwise chance did.
    severity_because
        Why this severity, in a sentence.
    resubmission_of
        The lot that this one is, sorted or repaired; empty for a first submission.
    reason
        Why it departs from the switching rules or is submitted again; empty for others.
    earlier
        The other lots of the archive that had grown since any lot before kept what they were.
    doubts
        What was wrong with lots before it when it was opened, in words.
    """

    at: str
    by: str
    lot: str
    supplier: str
    product: str
    reels: tuple[str, ...]
    requirement: str
    edition: str
    requirement_digest: str
    decision_rule: str
    construction: str
    plan: SamplingPlan
    seed: str
    seed_given: bool = False
    severity_because: str = ""
    resubmission_of: str = ""
    reason: str = ""
    earlier: tuple[SeenLot, ...] = ()
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReelAdded:
    """A record became the result of a reel.

    Parameters
    ----------
    at, by, station
        When; who; station of the record, empty for an import.
    reel
        Its name.
    record, path
        Content hash of the record, and the name of its file in the archive.
    result
        What it says.
    retest_reason
        Why an earlier result of this reel does not count any more; empty for the first.
    also_in
        Lots in which the same record counted already when it was added.
    reuse_reason
        Why it counts here, too; empty where `also_in` is.
    """

    at: str
    by: str
    station: str
    reel: str
    record: str
    path: str
    result: ReelResult
    retest_reason: str = ""
    also_in: tuple[str, ...] = ()
    reuse_reason: str = ""


@dataclass(frozen=True, slots=True)
class ReelExcluded:
    """A reel of the sample is not tested or does not count; the next one in the order takes its place."""

    at: str
    by: str
    reel: str
    reason: str


@dataclass(frozen=True, slots=True)
class LotReplanned:
    """Another plan took the place of the one before; the order of the reels stays."""

    at: str
    by: str
    plan: SamplingPlan
    reason: str


@dataclass(frozen=True, slots=True)
class LotClosed:
    """The last entry.

    Parameters
    ----------
    accepted
        The decision.
    ends_reduced
        Accepted with more nonconforming reels than Ac: reduced inspection ends (MIL-STD-105E).
    nonconforming
        Reels that do not conform.
    variables
        For a plan by variables: what it says of each characteristic.
    words
        The decision in a sentence.
    """

    at: str
    by: str
    accepted: bool
    nonconforming: tuple[str, ...]
    words: str
    ends_reduced: bool = False
    variables: tuple[VariablesDecision, ...] = ()


LotEvent = LotOpened | ReelAdded | ReelExcluded | LotReplanned | LotClosed


@dataclass(frozen=True, slots=True)
class LotState:
    """Where a lot stands after all entries of its history.

    Parameters
    ----------
    opened, plan
        How it was opened; the plan in force.
    order
        All reels in their random order.
    sample
        The reels of the sample in force, in that order; those that were excluded are replaced.
    excluded, replanned, added
        Entries of the history, oldest first.
    counting
        Reel of the sample -> the entry that counts.
    missing, nonconforming, undecided
        Reels of the sample without a result; with one that does not conform; with one that is undecided.
    closed
        None: open.
    """

    opened: LotOpened
    plan: SamplingPlan
    order: tuple[str, ...]
    sample: tuple[str, ...]
    excluded: tuple[ReelExcluded, ...] = ()
    replanned: tuple[LotReplanned, ...] = ()
    added: tuple[ReelAdded, ...] = ()
    counting: Mapping[str, ReelAdded] = field(default_factory=lambda: MappingProxyType({}))
    missing: tuple[str, ...] = ()
    nonconforming: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()
    closed: LotClosed | None = None

    @property
    def drawn(self) -> tuple[tuple[int, str], ...]:
        """Reels of the sample and those that were excluded, each with its number in the draw, from 1.

        The number stays what it was on the pick list, whatever is excluded.
        """
        shown = {*self.sample, *(entry.reel for entry in self.excluded)}
        return tuple((number, reel) for number, reel in enumerate(self.order, start=1) if reel in shown)
