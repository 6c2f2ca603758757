from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from benchsweep.cli._options import Address, Against, AsJson, Disturbing, LengthM, StationName
from benchsweep.cli._output import print_json, print_lines, table_width

if TYPE_CHECKING:
    from benchsweep.qualification import Planned

__all__ = ["plan"]

_PER_ROW = 4


def plan(
    station: StationName,
    against: Against,
    length_m: LengthM = None,
    disturbing: Disturbing = None,
    address: Address = None,
    as_json: AsJson = False,
) -> None:
    """Print hookups, matings, frequency grid and expected time of a qualification; nothing is measured.

    The analyzer is asked for its ports unless the station file gives them.

    Example: `benchsweep plan --station simulated --against tia-6a-cord --length-m 2`
    """
    from benchsweep.qualification import load_station, plan_document, plan_station

    planned = plan_station(
        load_station(station).at_address(address), against, length_m=length_m, disturbing=disturbing
    )
    if as_json:
        print_json(plan_document(planned))
        return
    print_lines([*_summary(planned), "", *_hookups(planned)])


def _summary(planned: Planned) -> list[str]:
    made = planned.plan
    length = "" if planned.length_m is None else f", {planned.length_m:g} m"
    rows = [
        ("station", planned.station.name),
        ("against", ", ".join(planned.requirements) + length),
        *([] if planned.disturbing is None else [("bundle", _bundle(planned.disturbing))]),
        ("hookups", f"{len(made.hookups)}, with {made.matings} balanced ports to attach in all"),
        ("grid", planned.grid),
        ("time", _time(planned)),
    ]
    if planned.length_m is None:
        rows.append(("", "(give --length-m to have the grid checked for a specimen of that length)"))
    lines = [line for head, words in rows for line in _row(head, words)]
    for number, words in enumerate(planned.warnings):
        lines += _row("" if number else "warnings", f"- {words}", hang=2)
    if planned.better is not None:
        took = f"; about {_duration(planned.better_seconds)} in all"
        lines += _row("would fit", planned.better_words + took)
        lines += _row("", f"(under [sweep] of the station file, in place of a grid there: {_keys(planned)})")
        for words in planned.better.warnings:
            lines += _row("", f"- even then: {words}", hang=2)
    return lines


def _bundle(disturbing: int) -> str:
    others = f"cables 1 to {disturbing} disturb" if disturbing > 1 else "cable 1 disturbs"
    return f"{others} the specimen; what is on no analyzer port carries its termination"


def _row(head: str, words: str, *, hang: int = 0) -> list[str]:
    room = max(table_width() - 12, 40)
    body = textwrap.wrap(words, room, subsequent_indent=" " * hang, break_on_hyphens=False) or [""]
    return [f"{head:<10}  {body[0]}".rstrip(), *(f"{'':<12}{line}" for line in body[1:])]


def _keys(planned: Planned) -> str:
    names = ", ".join(f'"{name}"' for name in planned.requirements)
    return f"requirements = [{names}] and longest_m = {planned.length_m:g}"


def _time(planned: Planned) -> str:
    who = {"person": "by hand", "relays": "by relays"}.get(planned.station.switch.kind, "")
    own = " (500 points assumed)" if planned.grid.startswith("the analyzer's own") else ""
    sweeping = f"{_duration(planned.sweep_seconds)} of sweeping"
    if not planned.move_seconds:
        return f"about {sweeping}{own}"
    moving = f"{_duration(planned.move_seconds)} of moves {who}".rstrip()
    return f"about {_duration(planned.seconds)}: {sweeping}, {moving}{own}"


def _duration(seconds: float) -> str:
    if seconds < 120.0:
        return f"{max(seconds, 0.1):.0f} s" if seconds >= 10.0 else f"{max(seconds, 0.1):.1f} s"
    return f"{seconds / 60.0:.0f} min"


def _hookups(planned: Planned) -> list[str]:
    label = "end:pair.contact" if planned.disturbing is None else "[cable.]end:pair.contact"
    width = 13 if planned.disturbing is None else 15 + len(str(planned.disturbing))
    lines = [f"each line: analyzer port -> leg of the specimen ({label})"]
    for hookup in planned.plan.hookups:
        parts = [f"{port} -> {leg}" for port, leg in hookup.connections.items()]
        rows = [parts[at : at + _PER_ROW] for at in range(0, len(parts), _PER_ROW)]
        for at, row in enumerate(rows):
            head = f"{hookup.number:>3}" if at == 0 else "   "
            lines.append(f"{head}  " + "  ".join(part.ljust(width) for part in row).rstrip())
    return lines
