"""A record as the result of a reel: read, checked, graded against the requirement of its lot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from benchsweep import archive, limits
from benchsweep.archive.places import below
from benchsweep.errors import LotRefused
from benchsweep.qualification._again import reduced_again, superseded_words
from benchsweep.qualification._corrections import apply_corrections
from benchsweep.qualification._graded import Qualified, grade_all
from benchsweep.qualification._notes import notes_about
from benchsweep.qualification._reduction import evaluate
from benchsweep.qualification.lots._reel import evaluate_reel
from benchsweep.records import LotState, Measurement, Note, ReelAdded, ReelResult

__all__ = [
    "LotRecord",
    "ReadReel",
    "conditions_told",
    "grade_reel",
    "missing_conditions",
    "place_of",
    "read_for_lot",
]


@dataclass(frozen=True, slots=True, eq=False)
class LotRecord:
    """A record as read for a lot.

    Parameters
    ----------
    source
        Where it is.
    content_hash
        Names its content.
    measurement
        As corrected.
    raw
        As it stands in the record.
    notes
        What was said of it afterwards, in time order.
    withdrawn
        Who withdrew it, when and why, in words; empty when nobody did.
    superseded
        In words, that its sweeps were reduced again into another record; empty when they were not.
    """

    source: archive.Source
    content_hash: str
    measurement: Measurement
    raw: Measurement
    notes: tuple[Note, ...]
    withdrawn: str = ""
    superseded: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ReadReel:
    """A record graded against a requirement, as the result of a reel."""

    record: LotRecord
    qualified: Qualified
    result: ReelResult


def read_for_lot(source: archive.Source) -> LotRecord:
    """Return a record, every checksum of it compared, with what was said of it afterwards.

    Raises
    ------
    LotRefused
        A series: one result is asked for.
    ArchiveError
        It, or a note about it, cannot be read.
    """
    if archive.is_series(source):
        raise LotRefused(
            f"{source}: a series of many sweeps is no result of a reel",
            hint="Add a record of `benchsweep qualify` or `benchsweep import`.",
        )
    raw = archive.read_record(source)
    notes = notes_about(source)
    measurement, noted = apply_corrections(raw, notes)
    into = reduced_again(source).into
    return LotRecord(
        source,
        archive.content_hash(source),
        measurement,
        raw,
        notes,
        noted.withdrawn,
        "" if into is None else superseded_words(into),
    )


def grade_reel(
    record: LotRecord,
    requirement: limits.Requirement,
    state: LotState,
    *,
    raw: Measurement | None = None,
) -> ReadReel:
    """Grade a record by the decision rule and the construction of its lot.

    Parameters
    ----------
    raw
        The measurement that is graded in place of what stands in the record.

    Raises
    ------
    UsageError, LimitNotDefined
        It cannot be graded, see `missing_conditions`.
    """
    conditions = conditions_told(state)
    evaluation = evaluate(record.raw if raw is None else raw, notes=record.notes)
    graded = grade_all(
        evaluation,
        (requirement,),
        record=str(record.source),
        decision_rule=state.opened.decision_rule,
        conditions=conditions,
    )
    qualified = Qualified(record.source, evaluation, graded)
    result = evaluate_reel(evaluation, requirement, graded[0].verdict, conditions=conditions)
    return ReadReel(record, qualified, result)


def conditions_told(state: LotState) -> limits.Conditions:
    """Return what was told of all reels of a lot when it was opened."""
    construction = state.opened.construction or None
    return limits.Conditions(construction=cast("limits.Construction | None", construction))


def missing_conditions(
    requirement: limits.Requirement, *, length_m: float | None, temperature_degc: float | None
) -> tuple[str, ...]:
    """Return what must be known of a reel to be graded against a requirement, and is not, in words.

    The length is always asked for: by it a reel is known to be what a specification of cable speaks of.
    """
    missing = []
    if length_m is None:
        rule = requirement.normalise
        why = "nothing is known per 100 m" if rule is None else f"the limits hold for {rule.length_m:g} m"
        missing.append(f"its length ({why})")
    if requirement.temperature is not None and temperature_degc is None:
        degc = requirement.temperature.reference_degc
        missing.append(f"its temperature (insertion loss is limited at {degc:g} degC)")
    return tuple(missing)


def place_of(folder: archive.Source, entry: ReelAdded) -> archive.Source:
    """Return where the record of an entry is."""
    return below(folder, *entry.path.split("/"))
