"""Which requirements are asked for, what they need, and one number of them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import cast

from benchsweep import limits
from benchsweep.errors import UnknownName, UsageError

__all__ = [
    "ChosenRequirements",
    "check_length",
    "choose_requirements",
    "frequency_range",
    "limit_number",
    "load_requirements",
    "ranked_requirements",
    "told_conditions",
]


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
    broken
        Files that would have been chosen and cannot be read.
    """

    requirements: tuple[limits.Requirement, ...]
    by_pattern: frozenset[str]
    broken: tuple[str, ...] = ()


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
                f"no requirement fits {name!r}, of the {len(limits.requirement_names())} that there are",
                hint="In a pattern * stands for any characters, ? for one, and capitals count; quote it for "
                "the shell. `benchsweep limits list` lists all names.",
            )
        for item in fitting:
            if item not in chosen:
                chosen[item] = limits.load_requirement(item)
    return ChosenRequirements(
        tuple(chosen.values()), frozenset(item.name for item in chosen.values()) - named
    )


def ranked_requirements() -> ChosenRequirements:
    """Return every requirement in force that has a rank among its categories, as if a pattern chose them."""
    found = limits.requirements_in_force()
    ranked = tuple(
        item.requirement
        for item in found
        if item.requirement is not None and item.requirement.rank is not None
    )
    return ChosenRequirements(
        ranked,
        frozenset(item.name for item in ranked),
        tuple(str(item.path) for item in found if item.problem is not None),
    )


def told_conditions(
    temperature_degc: float | None, construction: str | None, *, extrapolate_cold: bool
) -> limits.Conditions:
    """Return what was told of the conditions of a measurement.

    Raises
    ------
    UsageError
        A temperature that makes no sense, or no such construction.
    """
    return limits.Conditions(
        temperature_degc, cast("limits.Construction | None", construction), extrapolate_cold
    )


def load_requirements(names: Sequence[str]) -> tuple[limits.Requirement, ...]:
    """Load each requirement by name, path or pattern, each once; see `choose_requirements`.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return choose_requirements(names).requirements


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
