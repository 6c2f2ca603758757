from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.records import Outcome, Parameter, Specimen

__all__ = ["Damaged", "Found", "Judged", "JudgedParameter"]


@dataclass(frozen=True, slots=True)
class JudgedParameter:
    """What a grading says of one parameter.

    Parameters
    ----------
    outcome
        The worst of its rows.
    worst_margin
        The smallest margin of its rows, in dB, for delay and skew in ns; None when no row has one.
    """

    outcome: Outcome
    worst_margin: float | None


@dataclass(frozen=True, slots=True)
class Judged:
    """The newest grading of a record against one requirement, in short.

    Parameters
    ----------
    requirement, edition, decision_rule
        As graded.
    outcome
        Of the whole.
    made_at
        ISO 8601 time in UTC.
    outdated
        ISO 8601 time of the first correction since then of something that verdicts depend on, see
        `Correction.weighty`; empty when there is none. What is outdated is no outcome of the record.
    worst_margin_db, worst_parameter
        The smallest margin in dB and the parameter that has it; None and "" when there is none.
    why
        Where the whole has another outcome than the worst row, what makes it so: the wiring, that the record
        was withdrawn, what makes it doubtful. Empty elsewhere.
    parameters
        What it says of each parameter.
    """

    requirement: str
    edition: str
    decision_rule: str
    outcome: Outcome
    made_at: str
    outdated: str = ""
    worst_margin_db: float | None = None
    worst_parameter: str = ""
    why: str = ""
    parameters: Mapping[Parameter, JudgedParameter] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Found:
    """A record or series that was found, as corrections would have it.

    Parameters
    ----------
    source
        What readers of the archive take: a path, or a URL of a remote archive.
    name
        Path within the archive, with ``/``.
    kind
        ``record`` or ``series``.
    content_hash
        64 hexadecimal digits.
    created_at
        ISO 8601 time in UTC.
    specimen
        With its corrections.
    origin, station, operator
        As in the record; the operator with its corrections.
    calibration, calibration_at, calibration_file, kit
        Of the calibration applied; the third is the name of the file it was stored in, without its ending.
        Empty for an import.
    reduced_from, reason, reduced_at
        Content hash of the record whose sweeps these are, why and when they were reduced again; may be empty.
    points, start_hz, stop_hz
        The frequency grid.
    ports
        How many ports the matrix has.
    hookups
        How many hookups it was assembled from.
    source_file
        Of an import.
    size
        Of the file, in bytes.
    superseded_by
        Content hash of the newest record its sweeps were reduced into; empty when there is none.
    withdrawn
        Whether it was withdrawn.
    comments, corrections
        How many there are.
    judged
        The newest grading against each requirement, by requirement.
    """

    source: str
    name: str
    kind: str
    content_hash: str
    created_at: str
    specimen: Specimen
    origin: str
    station: str
    operator: str
    calibration: str
    calibration_at: str
    calibration_file: str
    kit: str
    reduced_from: str
    reason: str
    reduced_at: str
    points: int
    start_hz: float
    stop_hz: float
    ports: int
    hookups: int
    source_file: str
    size: int
    superseded_by: str = ""
    withdrawn: bool = False
    comments: int = 0
    corrections: int = 0
    judged: tuple[Judged, ...] = ()


@dataclass(frozen=True, slots=True)
class Damaged:
    """A file of the archive that cannot be read.

    Parameters
    ----------
    source, name
        As in `Found`.
    reason
        In words.
    """

    source: str
    name: str
    reason: str
