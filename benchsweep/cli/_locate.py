from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson, LengthM, RecordArgument, Source
from benchsweep.cli._output import print_json, print_lines, table_width

if TYPE_CHECKING:
    from benchsweep.qualification import Location

__all__ = ["locate"]


def locate(
    record: RecordArgument,
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
    A length that the measured delay contradicts is said first, and nothing is placed by it. The exit code is
    1 when a fault was found, 3 when nothing was found but not all could be looked at.

    Example: `benchsweep locate archive/20260301T101500Z-cord.h5 --length-m 2.0`
    """
    from benchsweep.cli._series import refuse_missing
    from benchsweep.errors import UsageError
    from benchsweep.qualification import (
        evaluate,
        exit_code_of_location,
        is_series,
        location_document,
        notes_about,
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
    found = look(
        evaluate(read_measurement(record), length_m=length_m, notes=notes_about(record)), velocity=velocity
    )
    if as_json:
        print_json(location_document(found, record=str(record)))
    else:
        print_lines(_lines(found, record))
    raise typer.Exit(exit_code_of_location(found))


def _wrapped(text: str, width: int, *, indent: str = "") -> list[str]:
    # Words of a record may be of any length and hold anything that a person typed.
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent + "   ")


def _lines(found: Location, record: Source) -> list[str]:
    from benchsweep.qualification import NOTHING_PLACED

    width = table_width()
    noted = found.evaluation.noted
    lines = [*_wrapped(noted.withdrawn, width), *_wrapped(found.doubt, width)]
    lines += [f"record {record}", f"specimen {found.evaluation.measurement.specimen.identifier}"]
    length, electrical = found.evaluation.measurement.specimen.length_m, found.electrical_length_m
    if length is not None:
        lines.append(f"length {length:g} m")
    for words in noted.words:
        lines += _wrapped(words, width)
    if electrical is not None:
        at = 0.67 if found.velocity is None else found.velocity
        lines.append(f"electrical length {electrical:.2f} m at {at:g} of the velocity of light")
    for standing in dict.fromkeys(each.standing for each in found.own_velocities.values()):
        values = {
            pair: each.fraction for pair, each in found.own_velocities.items() if each.standing == standing
        }
        told = ", ".join(f"{pair} {value:.3f}" for pair, value in values.items())
        lines.append(f"velocity over that of light ({standing}): {told}")
    if found.why_no_time_domain and not found.nothing_placed:
        lines += _wrapped(f"no time domain: {found.why_no_time_domain}", width)
    lines.append("")
    if found.nothing_placed:
        lines += [NOTHING_PLACED, ""] if found.faults else [NOTHING_PLACED]
    elif not found.faults:
        whole = not found.why_no_time_domain
        lines.append("no fault found" if whole else "no fault found, as far as frequencies alone tell")
    for number, fault in enumerate(found.faults, start=1):
        lines += _wrapped(f"{number}. {fault.words}", width)
        for evidence in fault.evidence:
            lines += _wrapped(evidence, width, indent="   ")
    return lines + _constants(found, width)


def _constants(found: Location, width: int) -> list[str]:
    from benchsweep.qualification import worst_structural_return_loss

    lines: list[str] = []
    if found.constants:
        first = found.constants[0]
        low, high = first.frequency_hz[0] / 1e6, first.frequency_hz[-1] / 1e6
        lines += ["", "cable constants (mean and fitted impedance in ohm, capacitance in nF/100 m)"]
        lines += _wrapped(
            f"K0: fitted impedance at high frequency; SRL: worst structural return loss of {low:g} to "
            f"{high:g} MHz and where",
            width,
        )
        lines.append("end pair    mean      K0  velocity  capacitance  SRL")
    for each in found.constants:
        fraction = "" if each.velocity_fraction is None else f"{each.velocity_fraction:.3f} c"
        nf = each.capacitance_nf_per_100m
        worst_db, worst_hz = worst_structural_return_loss(each)
        capacitance = "" if nf is None else f"{nf:.2f}"
        structure = f"{worst_db:.1f} dB at {worst_hz / 1e6:g} MHz"
        lines.append(
            f"{each.end:3} {each.pair:4} {each.mean_impedance_ohm:7.1f} {each.fit_coefficients[0]:7.1f}  "
            f"{fraction:>8}  {capacitance:>11}  {structure}"
        )
    if not found.nothing_placed and found.evaluation.traces:
        for pair, why in found.left_out.items():
            lines += _wrapped(f"pair {pair} is left out: {why}", width)
    return lines
