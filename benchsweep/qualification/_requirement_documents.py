"""Requirements for people and for ``--json``: which there are and why, and what they say."""

from __future__ import annotations

from typing import Any

import numpy as np

from benchsweep import limits
from benchsweep.definitions import find_definition, search_folders

__all__ = ["requirement_document", "requirements_document"]

_KIND = "requirements"
_ORIGINS: tuple[limits.Origin, ...] = ("working folder", "data folder", "shipped")
# Frequencies at which published tables print their values.
_TABLE_MHZ = (1.0, 4.0, 8.0, 10.0, 16.0, 20.0, 25.0, 31.25, 62.5, 100.0, 200.0, 250.0, 300.0, 400.0, 500.0)
_MORE_MHZ = (600.0, 1000.0)
# Just above an edge, relative: further than rounding reaches, nearer than any limit changes.
_BESIDE = 1e-7


def requirements_document() -> dict[str, Any]:
    """Return ``benchsweep.requirements/1``: every requirement in force and why, and what is broken."""
    found = limits.requirements_in_force()
    return {
        "schema": "benchsweep.requirements/1",
        "requirements": [
            {**_summary(item.requirement), **_place(item)} for item in found if item.requirement is not None
        ],
        "broken": [
            {
                "requirement": item.name,
                **_place(item),
                "problem": item.problem.message,
                "hint": item.problem.hint,
            }
            for item in found
            if item.problem is not None
        ],
    }


def _summary(requirement: limits.Requirement) -> dict[str, Any]:
    return {
        "requirement": requirement.name,
        "title": requirement.title,
        "body": requirement.body,
        "edition": requirement.edition,
        "class": requirement.category,
        "configuration": requirement.configuration,
        "rank": requirement.rank,
        "base": requirement.base,
        "needs_length": requirement.needs_length,
        "standing": requirement.standing,
        "parameters": [str(line.parameter) for line in requirement.lines],
    }


def _place(item: limits.InForce) -> dict[str, Any]:
    return {
        "file": str(item.path),
        "origin": item.origin,
        "overrules": [str(path) for path in item.overrules],
    }


def requirement_document(name: str, *, length_m: float | None) -> dict[str, Any]:
    """Return ``benchsweep.requirement/1``: every line, its formulas, and its values where tables print them.

    Values stand at round frequencies and at the edges of bands, where the lower band holds. Lines that need a
    length have no values when none is given. ``joins`` gives the limit on either side of an edge.

    Raises
    ------
    UnknownName, DefinitionError, UsageError
    """
    requirement = limits.load_requirement(name)
    return {
        "schema": "benchsweep.requirement/1",
        **_summary(requirement),
        "source": requirement.source.document,
        "checked": requirement.source.checked,
        "note": requirement.source.note,
        "length_m": length_m,
        "contains_uncertainty": requirement.contains_uncertainty,
        **_place_of(name),
        "lines": [_line(requirement, line, length_m) for line in requirement.lines],
        "normalise": _plain(requirement.normalise),
        "temperature": _plain(requirement.temperature),
        "length": _plain(requirement.length),
        "dc": [_plain(item) for item in requirement.dc],
    }


def _plain(item: limits.Rule | None) -> dict[str, Any] | None:
    return None if item is None else item.model_dump(mode="json")


def _place_of(name: str) -> dict[str, Any]:
    """Return where the file of a name or path lies, and which files of that name it overrules."""
    path = find_definition(_KIND, name)
    folders = search_folders(_KIND)
    if path.stem != name or path.parent not in folders:
        return {"file": str(path), "origin": "path", "overrules": []}
    place = folders.index(path.parent)
    later = (folder / path.name for folder in folders[place + 1 :])
    return {
        "file": str(path),
        "origin": _ORIGINS[place],
        "overrules": [str(file) for file in later if file.is_file()],
    }


def _joins(line: limits.LimitLine, length_m: float | None) -> list[dict[str, float]]:
    """Return the limit on either side of every frequency where two bands meet."""
    if line.needs_length and length_m is None:
        return []
    joins = []
    for lower, upper in zip(line.bands, line.bands[1:], strict=False):
        if lower.to_mhz == upper.from_mhz:
            edge = np.array([lower.to_mhz, lower.to_mhz * (1.0 + _BESIDE)])
            below, above = line.evaluate(edge, length_m)
            joins.append({"frequency_hz": lower.to_mhz * 1e6, "below": float(below), "above": float(above)})
    return joins


def _line(requirement: limits.Requirement, line: limits.LimitLine, length_m: float | None) -> dict[str, Any]:
    values: list[dict[str, float]] = []
    if not (line.needs_length and length_m is None):
        edges = {edge for band in line.bands for edge in (band.from_mhz, band.to_mhz)}
        grid = np.array(sorted({*_TABLE_MHZ, *_MORE_MHZ, *edges})) * 1e6
        curve = limits.limit_curve(requirement, line.parameter, grid, length_m=length_m)
        if curve is not None:
            values = [
                {"frequency_hz": float(f), "value": float(v)}
                for f, v in zip(curve.frequency_hz, curve.value, strict=True)
                if np.isfinite(v)
            ]
    return {
        "parameter": str(line.parameter),
        "sense": line.sense,
        "unit": line.parameter.unit,
        "standing": line.standing,
        "source": line.source,
        "note": line.note,
        "needs_length": line.needs_length,
        "cap": line.cap,
        "floor": line.floor,
        "does_not_count_where": line.exempt_where.words() if line.exempt_where else None,
        "does_not_count_standing": line.exempt_where.standing if line.exempt_where else None,
        "does_not_count_note": line.exempt_where.note if line.exempt_where else None,
        "insertion_loss_of": line.insertion_loss_of if line.parameter in limits.FAR_RATIOS else None,
        "bands": [
            {
                "from_mhz": band.from_mhz,
                "to_mhz": band.to_mhz,
                "formula": band.limit.words(),
                "standing": band.standing or line.standing,
                "step": band.step,
            }
            for band in line.bands
        ],
        "joins": _joins(line, length_m),
        "values": values,
    }
