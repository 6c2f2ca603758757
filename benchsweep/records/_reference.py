from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from benchsweep.records._agreement import Comparison
from benchsweep.records._process import ControlChart
from benchsweep.records._repeatability import StudyDesign

__all__ = [
    "AccuracyDeclared",
    "BenchMeasured",
    "ChannelRegistered",
    "Drift",
    "Due",
    "FieldTesterCompared",
    "FieldTesterRegistered",
    "IntervalChanged",
    "ReferenceEvent",
    "Returned",
    "SeenReference",
    "StudyMeasured",
    "StudyPlanned",
    "Withdrawn",
]


@dataclass(frozen=True, slots=True)
class SeenReference:
    """What another history was when an entry was added: by that it is known later that nothing of it went.

    Parameters
    ----------
    kind, name
        Of which channel, tester or study.
    entries
        How many entries its history had.
    digest
        What named these: 64 hexadecimal digits.
    """

    kind: Literal["channel", "tester", "study"]
    name: str
    entries: int
    digest: str


@dataclass(frozen=True, slots=True)
class ChannelRegistered:
    """The first entry of the history of a reference channel.

    Parameters
    ----------
    at, by
        ISO 8601 time in UTC; who.
    channel
        Its name: the specimen that its records must name.
    parts
        What it is made of, end A first, one line each.
    length_m
        Its length; None when it has none to tell.
    requirement
        Id of what it is graded and compared against.
    every_days
        It is measured again on the bench after so many days at the latest.
    remarks
        Anything else.
    """

    at: str
    by: str
    channel: str
    parts: tuple[str, ...]
    length_m: float | None
    requirement: str
    every_days: float
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class BenchMeasured:
    """A bench record of the channel.

    Parameters
    ----------
    record, path
        Content hash, and the name of its file in the archive.
    measured_at
        When (ISO 8601).
    temperature_degc
        Of the channel; None when it was not recorded.
    checks
        Check value by name (``next A 36-45 worst margin``, ``insertion_loss A 12 at 250 MHz`` …), dB or ns.
    words
        What the check of stability said then.
    accepted
        False: it does not count for the baseline (a person said so, or the channel had moved).
    length_m
        Of the channel as the record tells it; None: it does not, or by earlier versions not kept.
    uncertainties
        Of the bench (k = 2) for each check value where it is known; by earlier versions not kept.
    seen
        The other histories as they were then, as far as nobody had seen them so.
    """

    at: str
    by: str
    record: str
    path: str
    measured_at: str
    temperature_degc: float | None
    checks: Mapping[str, float]
    words: str = ""
    accepted: bool = True
    length_m: float | None = field(default=None, metadata={"later": True})
    uncertainties: Mapping[str, float] = field(default_factory=dict, metadata={"later": True})
    seen: tuple[SeenReference, ...] = field(default=(), metadata={"later": True})

    def __post_init__(self) -> None:
        object.__setattr__(self, "checks", MappingProxyType(dict(self.checks)))
        object.__setattr__(self, "uncertainties", MappingProxyType(dict(self.uncertainties)))


@dataclass(frozen=True, slots=True)
class FieldTesterRegistered:
    """The first entry of the history of a field tester.

    Parameters
    ----------
    tester
        Its name: an inventory number, never needed to tell a make.
    accuracy
        Name of the declared accuracy, a data file; empty: none declared. Another may be declared later.
    every_days
        It is compared again after so many days at the latest.
    remarks
        Anything else.
    """

    at: str
    by: str
    tester: str
    accuracy: str
    every_days: float
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class FieldTesterCompared:
    """A result of the tester was compared.

    Parameters
    ----------
    comparison
        All that was said.
    file, mapping_text, accuracy_text, budget_text
        Name of the kept copy of the tester's file in the archive (empty: typed in, see `typed`), and the data
        files as they were then.
    typed
        The numbers as they were typed in.
    repairs
        Changes to the tester before this comparison (adjusted, new plugs, new firmware), in words.
    seen
        As `BenchMeasured`.
    """

    at: str
    by: str
    comparison: Comparison
    file: str
    mapping_text: str
    accuracy_text: str
    budget_text: str
    typed: tuple[str, ...] = ()
    repairs: str = ""
    seen: tuple[SeenReference, ...] = field(default=(), metadata={"later": True})


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """Channel or tester must not be used any more."""

    at: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Returned:
    """It may be used again; its baseline starts anew."""

    at: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class IntervalChanged:
    """Another interval, by a person."""

    at: str
    by: str
    every_days: float
    reason: str


@dataclass(frozen=True, slots=True)
class AccuracyDeclared:
    """Another accuracy is declared for a tester from now on; comparisons before keep theirs.

    Parameters
    ----------
    accuracy
        Name of the declared accuracy, as `FieldTesterRegistered`.
    """

    at: str
    by: str
    accuracy: str
    reason: str


@dataclass(frozen=True, slots=True)
class StudyPlanned:
    """The first entry of a study of repeatability.

    Parameters
    ----------
    study, subject
        Its name; what is studied: ``bench`` or the name of a tester.
    requirement
        Margins are counted against it; empty for values that are typed in.
    design
        Who measures what in which order.
    """

    at: str
    by: str
    study: str
    subject: str
    requirement: str
    design: StudyDesign


@dataclass(frozen=True, slots=True)
class StudyMeasured:
    """A run of a study was measured.

    Parameters
    ----------
    number
        Of the run in the design.
    values
        By quantity (``next A 36-45`` …): dB or ns.
    source, digest
        Record or file the values come from with its SHA-256; ``typed`` and empty when typed in.
    again_because
        An earlier result of the same run does not count; why.
    simulated
        It comes from the simulated bench or from a simulated tester, as far as they say so: practice.
    steps
        By parameter the steps in which a tester's file tells its numbers, dB or ns, where any are seen; by
        earlier versions not kept.
    """

    at: str
    by: str
    number: int
    values: Mapping[str, float]
    source: str
    digest: str
    again_because: str = ""
    simulated: bool = field(default=False, metadata={"later": True})
    steps: Mapping[str, float] = field(default_factory=dict, metadata={"later": True})

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", MappingProxyType(dict(self.values)))
        object.__setattr__(self, "steps", MappingProxyType(dict(self.steps)))


ReferenceEvent = (
    ChannelRegistered
    | BenchMeasured
    | FieldTesterRegistered
    | FieldTesterCompared
    | Withdrawn
    | Returned
    | IntervalChanged
    | AccuracyDeclared
    | StudyPlanned
    | StudyMeasured
)
"""An entry of the history of a reference channel, a field tester or a study."""


@dataclass(frozen=True, slots=True)
class Due:
    """When a channel or tester must be measured again.

    Parameters
    ----------
    kind, name
        Which.
    last, due
        ISO 8601; empty when it never was.
    days_left
        Negative: overdue.
    interval_days
        In force.
    suggested_days
        What its history suggests; None: too little of it.
    method, words
        How that was found (ILAC-G24:2022, method 1 staircase …), in words.
    withdrawn
        It is; then nothing is due.
    note
        Why the last result put nothing off, in words; empty: it did, or there is none.
    """

    kind: Literal["channel", "tester"]
    name: str
    last: str
    due: str
    days_left: float | None
    interval_days: float
    suggested_days: float | None
    method: str
    words: str
    withdrawn: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Drift:
    """Whether something drifts, and what: the channel, the bench, or the tester.

    Parameters
    ----------
    charts
        Of each value that is followed, by its name (individuals, EWMA).
    moved
        What did: ``channel``, ``bench``, ``tester``, empty for nothing, ``unclear``.
    words
        The reason, naming rules and points.
    cause
        Kind and name of what most likely moved, also where it is unclear; None: not looked for, or nothing.
    """

    moved: Literal["", "channel", "bench", "tester", "unclear"]
    words: tuple[str, ...]
    charts: Mapping[str, ControlChart] = field(default_factory=dict)
    cause: tuple[str, str] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "charts", MappingProxyType(dict(self.charts)))
