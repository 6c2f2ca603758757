"""Requirements for people and for ``--json``: which there are, what they say, one number."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

import numpy as np

from benchsweep import limits
from benchsweep.errors import UnknownName, UsageError

__all__ = [
    "ChosenRequirements",
    "check_length",
    "choose_requirements",
    "frequency_range",
    "limit_number",
    "load_requirements",
    "requirement_document",
    "requirements_document",
]

# Frequencies at which published tables print their values.
_TABLE_MHZ = (1.0, 4.0, 8.0, 10.0, 16.0, 20.0, 25.0, 31.25, 62.5, 100.0, 200.0, 250.0, 300.0, 400.0, 500.0)
_MORE_MHZ = (600.0, 1000.0)


@dataclass(frozen=True, slots=True)
class ChosenRequirements:
    """Requirements that were asked for.

    Parameters
    ----------
    requirements
        Each once, in the order asked; those of one pattern by name.
    by_pattern
        Names of those that only a pattern chose: nobody named them, so they are undecided where they need a
        length that is not known.
    """

    requirements: tuple[limits.Requirement, ...]
    by_pattern: frozenset[str]


def choose_requirements(names: Sequence[str]) -> ChosenRequirements:
    """Load requirements by name, path or shell pattern (``tia-*-channel``).

    A pattern has ``*``, ``?`` or ``[`` in it and is no file.

    Raises
    ------
    UnknownName
        No such requirement, or none that a pattern fits.
    DefinitionError
        A file that was asked for is wrong; others do no harm.
    """
    chosen: dict[str, limits.Requirement] = {}
    named: set[str] = set()
    for name in dict.fromkeys(names):
        if not any(sign in name for sign in "*?[") or name.endswith(".toml"):
            requirement = limits.load_requirement(name)
            chosen.setdefault(name, requirement)
            named.add(requirement.name)
            continue
        fitting = [item for item in limits.requirement_names() if fnmatchcase(item, name)]
        if not fitting:
            raise UnknownName(
                f"no requirement fits {name!r}; there are: {', '.join(limits.requirement_names())}",
                hint="In a pattern * stands for any characters, ? for one; quote it for the shell.",
            )
        for item in fitting:
            if item not in chosen:
                chosen[item] = limits.load_requirement(item)
    return ChosenRequirements(
        tuple(chosen.values()), frozenset(item.name for item in chosen.values()) - named
    )


def load_requirements(names: Sequence[str]) -> tuple[limits.Requirement, ...]:
    """Load each requirement by name or path, each once.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return tuple(limits.load_requirement(name) for name in dict.fromkeys(names))


def check_length(
    requirements: Sequence[limits.Requirement], length_m: float | None, *, by_pattern: Collection[str] = ()
) -> None:
    """Refuse a missing length before anything is measured; `by_pattern` names those that may lack it.

    Raises
    ------
    UsageError
    """
    for requirement in requirements:
        if requirement.needs_length and length_m is None and requirement.name not in by_pattern:
            raise UsageError(
                f"{requirement.name}: its limits depend on the length of the specimen",
                hint="Give --length-m.",
            )


def frequency_range(requirements: Sequence[limits.Requirement]) -> tuple[float, float]:
    """Return the lowest and the highest frequency in Hz that any of some requirements limits."""
    lines = [line for requirement in requirements for line in requirement.lines]
    return 1e6 * min(line.from_mhz for line in lines), 1e6 * max(line.to_mhz for line in lines)


def limit_number(
    name: str, parameter: str, frequency_hz: float, *, length_m: float | None
) -> tuple[str, limits.LimitValue]:
    """Return the name of the requirement and one limit value.

    Raises
    ------
    UnknownName, DefinitionError, LimitNotDefined, UsageError
    """
    requirement = limits.load_requirement(name)
    wanted = limits.parse_parameter(parameter)
    return requirement.name, limits.limit_value(requirement, wanted, frequency_hz, length_m=length_m)


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
    length have no values when none is given.

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
        "lines": [_line(requirement, line, length_m) for line in requirement.lines],
        "normalise": _plain(requirement.normalise),
        "temperature": _plain(requirement.temperature),
        "length": _plain(requirement.length),
        "dc": [_plain(item) for item in requirement.dc],
    }


def _plain(item: limits.Rule | None) -> dict[str, Any] | None:
    return None if item is None else item.model_dump(mode="json")


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
        "cap": line.cap,
        "floor": line.floor,
        "does_not_count_where": line.exempt_where.words() if line.exempt_where else None,
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
        "values": values,
    }
