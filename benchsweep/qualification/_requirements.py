"""Requirements for people and for ``--json``: which there are, what they say, one number."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from benchsweep import limits
from benchsweep.errors import UsageError
from benchsweep.records import Parameter

__all__ = [
    "check_length",
    "frequency_range",
    "limit_number",
    "load_requirements",
    "requirement_document",
    "requirements_document",
]

# Frequencies at which published tables print their values.
_TABLE_MHZ = (1.0, 4.0, 8.0, 10.0, 16.0, 20.0, 25.0, 31.25, 62.5, 100.0, 200.0, 250.0, 300.0, 400.0, 500.0)


def load_requirements(names: Sequence[str]) -> tuple[limits.Requirement, ...]:
    """Load each requirement by name or path, each once.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return tuple(limits.load_requirement(name) for name in dict.fromkeys(names))


def check_length(requirements: Sequence[limits.Requirement], length_m: float | None) -> None:
    """Refuse a missing length before anything is measured.

    Raises
    ------
    UsageError
    """
    for requirement in requirements:
        if requirement.needs_length and length_m is None:
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
    """Return ``benchsweep.requirements/1``: every requirement in force."""
    return {
        "schema": "benchsweep.requirements/1",
        "requirements": [
            {
                "requirement": requirement.name,
                "title": requirement.title,
                "body": requirement.body,
                "edition": requirement.edition,
                "configuration": requirement.configuration,
                "standing": requirement.standing,
                "parameters": [str(line.parameter) for line in requirement.lines],
            }
            for requirement in limits.list_requirements()
        ],
    }


def requirement_document(name: str, *, length_m: float | None) -> dict[str, Any]:
    """Return ``benchsweep.requirement/1``: every line at the frequencies of printed tables.

    Lines that need a length have no values when none is given.

    Raises
    ------
    UnknownName, DefinitionError, UsageError
    """
    requirement = limits.load_requirement(name)
    return {
        "schema": "benchsweep.requirement/1",
        "requirement": requirement.name,
        "title": requirement.title,
        "edition": requirement.edition,
        "standing": requirement.standing,
        "source": requirement.source.document,
        "checked": requirement.source.checked,
        "length_m": length_m,
        "lines": [_line(requirement, line.parameter, length_m) for line in requirement.lines],
    }


def _line(requirement: limits.Requirement, parameter: Parameter, length_m: float | None) -> dict[str, Any]:
    line = next(item for item in requirement.lines if item.parameter == parameter)
    values: list[dict[str, float]] = []
    if not (line.needs_length and length_m is None):
        grid = np.array(_TABLE_MHZ) * 1e6
        curve = limits.limit_curve(requirement, parameter, grid, length_m=length_m)
        if curve is not None:
            values = [
                {"frequency_hz": float(f), "value": float(v)}
                for f, v in zip(curve.frequency_hz, curve.value, strict=True)
                if np.isfinite(v)
            ]
    return {
        "parameter": str(parameter),
        "sense": line.sense,
        "unit": parameter.unit,
        "standing": line.standing,
        "source": line.source,
        "note": line.note,
        "values": values,
    }
