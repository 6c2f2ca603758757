"""The closed set of ways in which families differ beyond spelling; a family file names one of each.

How a matrix is read is another such set, in the room ``matrix``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from benchsweep.instrument.families._family import Family

__all__ = ["PARAMETER_NAMES", "SWEEP", "SweepSteps", "parse_parameter"]

_PARAMETER = re.compile(r"S(?:(\d+)_(\d+)|(\d+))")


@dataclass(frozen=True, slots=True)
class SweepSteps:
    """How one sweep, all its averages included, is taken.

    Parameters
    ----------
    rounds
        Groups of commands; the end of each is awaited before the next.
    rest
        What brings the analyzer back into hold after the last.
    """

    rounds: tuple[tuple[str, ...], ...]
    rest: tuple[str, ...] = ()


def _restart(family: Family, averages: int) -> tuple[str, ...]:
    return family.fill("restart_averaging") if averages > 1 else ()


def _single_or_group(family: Family, averages: int) -> SweepSteps:
    if averages == 1:
        return SweepSteps((family.fill("single_sweep"),))
    return SweepSteps(((*_restart(family, averages), *family.fill("averaged_sweep", averages=averages)),))


def _init_with_count(family: Family, averages: int) -> SweepSteps:
    return SweepSteps(((*_restart(family, averages), *family.fill("single_sweep", averages=averages)),))


def _bus_trigger(family: Family, averages: int) -> SweepSteps:
    once = (*_restart(family, averages), *family.fill("arm"), *family.fill("single_sweep"))
    return SweepSteps((once,), rest=family.fill("hold"))


def _repeated_init(family: Family, averages: int) -> SweepSteps:
    once = family.fill("single_sweep")
    return SweepSteps(((*_restart(family, averages), *once), *(once for _ in range(averages - 1))))


def _underscore_above_nine(receiver: int, source: int) -> str:
    return f"S{receiver}{source}" if max(receiver, source) <= 9 else f"S{receiver}_{source}"


def _equal_digits_above_nine(receiver: int, source: int) -> str:
    digits = len(str(max(receiver, source)))
    return f"S{receiver:0{digits}d}{source:0{digits}d}"


def parse_parameter(text: str) -> tuple[int, int] | None:
    """Return (receiver, source) of a parameter name in any of the known spellings, else None.

    What stands before a colon is no part of it: a function is named ``XFR:S21``.
    """
    found = _PARAMETER.fullmatch(text.strip().strip("\"'").upper().rpartition(":")[2])
    if found is None:
        return None
    if found[3] is None:
        return int(found[1]), int(found[2])
    half, odd = divmod(len(found[3]), 2)
    return None if odd else (int(found[3][:half]), int(found[3][half:]))


SWEEP: Mapping[str, Callable[[Family, int], SweepSteps]] = MappingProxyType(
    {
        "single-or-group": _single_or_group,
        "init-with-count": _init_with_count,
        "bus-trigger": _bus_trigger,
        "repeated-init": _repeated_init,
    }
)
"""How one sweep, or as many as are averaged, is taken."""

PARAMETER_NAMES: Mapping[str, Callable[[int, int], str]] = MappingProxyType(
    {
        "underscore-above-nine": _underscore_above_nine,
        "equal-digits-above-nine": _equal_digits_above_nine,
    }
)
"""Name of the parameter from (receiver, source)."""
