from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson, LengthM
from benchsweep.cli._output import print_json, print_text, table_width

if TYPE_CHECKING:
    from benchsweep.qualification import Location

__all__ = ["locate"]


def locate(
    record: Annotated[Path, typer.Argument(metavar="RECORD", help="Record (.h5).")],
    length_m: LengthM = None,
    velocity: Annotated[
        float | None,
        typer.Option(
            "--velocity",
            metavar="V",
            help="Velocity of propagation over that of light, e.g. 0.67; from delay and length by default.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Name the fault and say where it is: at which plug, or how far from end A.

    Every fault comes with its evidence: the figure that was found and the one that good specimens keep. A
    sweep that must not be turned into time is said to be so; what its frequencies tell is told all the same.
    The exit code is 1 when a fault was found, 3 when nothing was found but not all could be looked at.

    Example: `benchsweep locate archive/20260301T101500Z-cord.h5 --length-m 2.0`
    """
    from benchsweep.cli._series import refuse_missing
    from benchsweep.errors import UsageError
    from benchsweep.qualification import (
        evaluate,
        exit_code_of_location,
        is_series,
        location_document,
        read_measurement,
    )
    from benchsweep.qualification import locate as look

    refuse_missing(record)
    if is_series(record):
        raise UsageError(
            f"{record}: is a series of sweeps", hint="`locate` looks at one record: measure one with qualify."
        )
    if length_m is not None and not 0.0 < length_m < math.inf:
        raise UsageError(f"--length-m: {length_m:g} m is no length", hint="Give metres, above 0.")
    found = look(evaluate(read_measurement(record), length_m=length_m), velocity=velocity)
    if as_json:
        print_json(location_document(found, record=str(record)))
    else:
        print_text(_text(found, record))
    raise typer.Exit(exit_code_of_location(found))


def _wrapped(text: str, width: int, *, indent: str = "") -> list[str]:
    # Words of a record may be of any length and hold anything that a person typed.
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent + "   ")


def _text(found: Location, record: Path) -> str:
    width = table_width()
    lines = [f"record {record}", f"specimen {found.evaluation.measurement.specimen.identifier}"]
    length, electrical = found.evaluation.measurement.specimen.length_m, found.electrical_length_m
    if length is not None:
        lines.append(f"length {length:g} m")
    if electrical is not None:
        at = 0.67 if found.velocity is None else found.velocity
        lines.append(f"electrical length {electrical:.2f} m at {at:g} of the velocity of light")
    for standing in dict.fromkeys(each.standing for each in found.velocities.values()):
        values = {pair: each.fraction for pair, each in found.velocities.items() if each.standing == standing}
        told = ", ".join(f"{pair} {value:.3f}" for pair, value in values.items())
        lines.append(f"velocity over that of light ({standing}): {told}")
    if found.why_no_time_domain:
        lines += _wrapped(f"no time domain: {found.why_no_time_domain}", width)
    lines.append("")
    if not found.faults:
        whole = not found.why_no_time_domain
        lines.append("no fault found" if whole else "no fault found, as far as frequencies alone tell")
    for number, fault in enumerate(found.faults, start=1):
        lines += _wrapped(f"{number}. {fault.words}", width)
        for evidence in fault.evidence:
            lines += _wrapped(evidence, width, indent="   ")
    if found.constants:
        lines += ["", "end  pair  mean impedance  velocity  capacitance"]
        for each in found.constants:
            fraction = "" if each.velocity_fraction is None else f"{each.velocity_fraction:.3f} c"
            nf = each.capacitance_nf_per_100m
            capacitance = "" if nf is None else f"{nf:.2f} nF/100 m"
            ohm = f"{each.mean_impedance_ohm:8.1f} ohm"
            lines.append(f"{each.end:4} {each.pair:5} {ohm}   {fraction:>8}  {capacitance}".rstrip())
    return "\n".join(lines)
