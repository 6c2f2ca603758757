"""What somebody corrected afterwards is read in place of what a record says; what was measured never is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from benchsweep.records import (
    AMBIENT,
    Correction,
    CorrectionsInForce,
    Measurement,
    Note,
    Outcome,
    Specimen,
    Verdict,
    corrections_in_force,
)

__all__ = [
    "NOTHING",
    "Noted",
    "apply_corrections",
    "corrected_specimen",
    "corrected_words",
    "noted_verdict",
    "recorded_value",
    "shown_value",
    "value_name",
    "withdrawn_words",
]


@dataclass(frozen=True, slots=True)
class Noted:
    """What a reader must know of the corrections of a record.

    Parameters
    ----------
    words
        For each correction in force: what it changes, who made it, when and why.
    withdrawn
        Who withdrew the record, when and why; empty when nobody did.
    """

    words: tuple[str, ...] = ()
    withdrawn: str = ""


_CORRECTED = "corrected by "

NOTHING = Noted()
"""Nothing was corrected."""


def apply_corrections(measurement: Measurement, notes: Iterable[Note]) -> tuple[Measurement, Noted]:
    """Return the measurement as corrected, and what is to be told of that.

    Only the specimen's identifier, lot, length and description, the operator and ambient values are ever
    replaced. A later correction wins over an earlier one, each of these by itself. Matrices, raw sweeps,
    calibration, settings and times stay the same objects.

    Parameters
    ----------
    notes
        In time order, as `archive.notes_of` returns them; comments change nothing.
    """
    force = corrections_in_force(notes)
    if not force.changes and force.withdrawn is None:
        return measurement, NOTHING
    ambient = {
        **measurement.ambient,
        **{
            key.removeprefix(AMBIENT): force.value(key, None)
            for key in force.changes
            if key.startswith(AMBIENT)
        },
    }
    corrected = replace(
        measurement,
        specimen=corrected_specimen(measurement.specimen, force),
        operator=str(force.value("operator", measurement.operator)),
        ambient={name: float(value) for name, value in ambient.items() if value is not None},
    )
    words = tuple(_words(correction, keys, measurement) for correction, keys in _by_correction(force))
    return corrected, Noted(words, "" if force.withdrawn is None else withdrawn_words(force.withdrawn))


def corrected_specimen(specimen: Specimen, force: CorrectionsInForce) -> Specimen:
    """Return the specimen with what is corrected of it."""
    length = force.value("length_m", specimen.length_m)
    return Specimen(
        identifier=str(force.value("identifier", specimen.identifier)),
        length_m=None if length is None else float(length),
        description=str(force.value("description", specimen.description)),
        lot=str(force.value("lot", specimen.lot)),
        product=str(force.value("product", specimen.product)),
    )


def noted_verdict(verdict: Verdict, noted: Noted) -> Verdict:
    """Return the verdict with what was corrected among its notes; that of a withdrawn record is undecided."""
    if not noted.withdrawn:
        return replace(verdict, notes=(*noted.words, *verdict.notes)) if noted.words else verdict
    return replace(
        verdict,
        outcome=Outcome.UNDECIDED,
        notes=(noted.withdrawn, *noted.words, *verdict.notes),
        doubts=(noted.withdrawn, *verdict.doubts),
    )


def _by_correction(force: CorrectionsInForce) -> list[tuple[Correction, list[str]]]:
    """Return each correction with those of its changes that no later one replaces, in time order."""
    found: dict[int, tuple[Correction, list[str]]] = {}
    for key, correction in force.changes.items():
        found.setdefault(id(correction), (correction, []))[1].append(key)
    return sorted(found.values(), key=lambda item: _moment(item[0].at))


def _moment(at: str) -> datetime:
    moment = datetime.fromisoformat(at)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _words(correction: Correction, keys: list[str], measurement: Measurement) -> str:
    told = []
    for key in keys:
        before, now = recorded_value(measurement, key), correction.changes[key]
        instead = ", as recorded" if now == before else f" instead of {shown_value(key, before)}"
        told.append(f"{value_name(key)} {shown_value(key, now)}{instead}")
    return f"{_CORRECTED}{correction.by} on {correction.at[:10]} ({correction.reason}): {', '.join(told)}"


def corrected_words(notes: Iterable[str]) -> tuple[str, ...]:
    """Return those notes of a verdict that tell what was corrected of its record."""
    return tuple(note for note in notes if note.startswith(_CORRECTED))


def withdrawn_words(correction: Correction) -> str:
    """Return who withdrew a record, when and why."""
    reason = correction.reason.rstrip(".")
    return f"the record was withdrawn by {correction.by} on {correction.at[:10]}: {reason}; do not use it"


def recorded_value(measurement: Measurement, key: str) -> str | float | None:
    """Return what a record itself says of what a correction can change."""
    if key.startswith(AMBIENT):
        return measurement.ambient.get(key.removeprefix(AMBIENT))
    own: str | float | None = getattr(measurement if key == "operator" else measurement.specimen, key)
    return own


def value_name(key: str) -> str:
    """Return what a correction changes, in words."""
    return {"identifier": "specimen", "length_m": "length"}.get(key, key.removeprefix(AMBIENT))


def shown_value(key: str, value: str | float | None) -> str:
    """Return a value that a correction changes, in words."""
    if value is None:
        return "not known"
    if isinstance(value, str):
        return repr(value) if value else "none"
    return f"{value:g} m" if key == "length_m" else f"{value:g}"
