"""What each method of calibration is called and which standards it needs."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from benchsweep.errors import DefinitionError

__all__ = ["EXCHANGE", "METHODS", "Method", "NeededStandards", "is_numbered", "needed_names", "numbered"]

Method = Literal[
    "short-open-load",
    "short-open-load-thru",
    "unknown-thru",
    "line-reflect-match",
    "line-reflect-reflect-match",
    "thru-reflect-line",
    "multiline",
]

EXCHANGE = "exchange"
"""Behind a tapped balun: one leg short, the other open, which turns the differential into the common mode."""

METHODS: dict[Method, str] = {
    "short-open-load": "one port only: three known reflections",
    "short-open-load-thru": "three known reflections at every port, known through connections; needs no "
    "switch terms, which a known thru tells",
    "unknown-thru": "three known reflections at every port, through connections of which only reciprocity "
    "and roughly the delay are known (Ferrero and Pisani, IEEE MGWL 2, 1992)",
    "line-reflect-match": "a known line, a known match, a reflection that is only the same at both ports "
    "(Eul and Schiek, IEEE MTT 39, 1991; as reformulated by Zhao and others, Appl. Sci. 7, 2017)",
    "line-reflect-reflect-match": "a known line, two reflections of which the second has a known magnitude, "
    "a match of known resistance and unknown inductance (Purroy and Pradell, IEEE T-IM 50, 2001)",
    "thru-reflect-line": "a known thru, a reflection that is only the same at both ports, one line of known "
    "impedance (Engen and Hoer, IEEE MTT 27, 1979)",
    "multiline": "as thru-reflect-line with several lines, all used at every frequency (Marks, IEEE MTT 39, "
    "1991; solved as by Hatab, Gadringer and Bösch, 98th ARFTG 2022)",
}
"""Method -> what it knows of its standards and the papers behind it, as cited in scikit-rf (Marks 1991 from
memory)."""


@dataclass(frozen=True, slots=True)
class NeededStandards:
    """The standards that a calibration has to measure, in the order of measuring.

    Parameters
    ----------
    one_port
        To be connected to every port.
    two_port
        To be connected between the lowest port and every other one. Behind baluns with a tap they join
        differential with differential and common-mode with common-mode ports; only ``exchange`` joins the
        two ports of one balun. Where there are no taps, ``exchange`` is left out.
    """

    one_port: tuple[str, ...]
    two_port: tuple[str, ...]


def is_numbered(name: str, kind: str) -> bool:
    """Return whether `name` is ``<kind>-<number>``."""
    head, _, tail = name.rpartition("-")
    return head == kind and tail.isdecimal()


def numbered(names: Collection[str], kind: str) -> tuple[str, ...]:
    """Return those of `names` that are ``<kind>-<number>``, by number."""
    return tuple(sorted((name for name in names if is_numbered(name, kind)), key=_number))


def needed_names(names: Collection[str], method: Method, *, reflect_near: str = "short") -> NeededStandards:
    """Return which of the standards `names` of a kit `method` needs.

    Raises
    ------
    DefinitionError
        The kit lacks some; all of them are named.
    """
    if method in ("short-open-load", "short-open-load-thru", "unknown-thru"):
        one_port = ["open", "short", "load"]
    elif method == "line-reflect-match":
        one_port = [_reflect(names), "load"]
    elif method == "line-reflect-reflect-match":
        first = _reflect(names)
        other = "short" if first == "reflect" and reflect_near == "open" else "open"
        one_port = [first, other, "load"]
    else:
        one_port = [_reflect(names)]
    two_port = _two_ports(names, method)
    missing = [name for name in (*one_port, *two_port) if name not in names]
    if missing:
        raise DefinitionError(
            f"{method} needs {', '.join(missing)}, which the kit does not have",
            hint="Add the standard to the kit, or choose another method.",
        )
    if EXCHANGE in names and method in ("short-open-load-thru", "unknown-thru"):
        two_port.append(EXCHANGE)
    return NeededStandards(tuple(one_port), tuple(two_port))


def _two_ports(names: Collection[str], method: Method) -> list[str]:
    lines = numbered(names, "line") or ("line-1",)
    needed: dict[str, tuple[str, ...]] = {
        "short-open-load": (),
        "unknown-thru": numbered(names, "reciprocal") or ("thru",),
        "thru-reflect-line": ("thru", lines[0]),
        "multiline": ("thru", *lines),
    }
    return list(needed.get(method, ("thru",)))


def _reflect(names: Collection[str]) -> str:
    """Return the standard that serves as the unknown reflection: a short does, where there is no other."""
    return next((name for name in ("reflect", "short", "open") if name in names), "reflect")


def _number(name: str) -> int:
    return int(name.rpartition("-")[2])
