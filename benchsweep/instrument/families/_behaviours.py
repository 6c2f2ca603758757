"""The closed set of ways in which families differ beyond spelling; a family file names one of each.

How a matrix is read is another such set, in the room ``matrix``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from benchsweep.instrument.families._family import Family

__all__ = ["PARAMETER_NAMES", "SWEEP", "SweepSteps", "parse_parameter", "parse_switch_term"]

_PARAMETER = re.compile(r"S(?:(\d+)_(\d+)|(\d+))")
_SWITCH_TERM = re.compile(r"A(\d+)(?:D(\d+))?/B\1(?:D(\d+))?(?:[,_:](\d+))?")


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


def parse_switch_term(text: str) -> tuple[int, int] | None:
    """Return (port, driven port) of a ratio of the receivers of one port in any known spelling, else None.

    ``A2/B2,1``, ``A2/B2_1`` and ``A2D1/B2D1``: reference over test receiver of port 2 while port 1 is driven.
    """
    found = _SWITCH_TERM.fullmatch(text.strip().strip("\"'").upper().replace(" ", ""))
    sources = set() if found is None else {found[2], found[3], found[4]} - {None}
    if found is None or len(sources) != 1 or (found[2] is None) != (found[3] is None):
        return None
    return int(found[1]), int(sources.pop())


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
