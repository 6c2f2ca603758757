from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson, requirement_names
from benchsweep.cli._output import print_json, print_lines
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from datetime import datetime

    import numpy as np
    from numpy.typing import NDArray

    from benchsweep.limits import Requirement
    from benchsweep.simulator.tester import Told

__all__ = ["Shape", "simulate_tester"]

_MOST_POINTS = 4001


class Shape(StrEnum):
    """Shapes of files; the shipped mappings have the same names."""

    WIDE_VALUES = "wide-values"
    LONG_VALUES = "long-values"
    LONG_MARGINS_DECIMAL_COMMA = "long-margins-decimal-comma"
    WORST_MARGINS = "worst-margins"


def simulate_tester(
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="The file that the tester writes; a new one."),
    ],
    specimen: Annotated[
        str,
        typer.Option(
            "--specimen", metavar="S", help="What it measures, as for `simulate`: a channel, a cord, a file."
        ),
    ] = "channel-100m",
    shape: Annotated[Shape, typer.Option("--shape", help="Shape of the file.")] = Shape.WIDE_VALUES,
    against: Annotated[
        str,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Requirement that the tester tells margins of, and whose band it sweeps.",
        ),
    ] = "tia-6-channel",
    length_m: Annotated[
        float | None,
        typer.Option("--length-m", metavar="M", help="Length of the specimen, for limits that need it."),
    ] = None,
    tester: Annotated[
        str, typer.Option("--tester", metavar="NAME", help="What the tester calls itself in the file.")
    ] = "FT-07",
    fault: Annotated[
        list[str] | None,
        typer.Option(
            "--fault",
            metavar="NAME[=DB]",
            help="What is wrong with it: offset, tilt, swapped-pairs, swapped-ends, worn-plug, drift; "
            "with a size such as offset=1.5; repeatable.",
        ),
    ] = None,
    day: Annotated[
        float,
        typer.Option("--day", metavar="N", help="Days since it was adjusted; its gain drifts with them."),
    ] = 0.0,
    adjusted: Annotated[
        str,
        typer.Option(
            "--adjusted",
            metavar="DATE",
            help="When it was adjusted (2026-01-05): the file is dated --day days later. By default the file "
            "is dated now.",
        ),
    ] = "",
    mating: Annotated[
        int, typer.Option("--mating", metavar="N", min=1, help="Another number: another mating of its plugs.")
    ] = 1,
    points: Annotated[
        int, typer.Option("--points", metavar="N", min=2, max=_MOST_POINTS, help="Points of its sweep.")
    ] = 400,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Which tester it is: its errors.")] = 1,
    specimen_seed: Annotated[
        int,
        typer.Option(
            "--specimen-seed",
            metavar="N",
            help="Which specimen of that description; the same as on the simulated bench by default.",
        ),
    ] = 1,
    as_json: AsJson = False,
) -> None:
    """Let a simulated field tester measure a simulated specimen, and write what it tells into a file.

    Its errors are invented and of no instrument: for trying out `benchsweep compare`.

    Example: `benchsweep simulate-tester --specimen channel-100m --fault worn-plug -o ft07.csv`
    """
    from benchsweep.limits import limit_curve
    from benchsweep.qualification import choose_requirements
    from benchsweep.simulator import load_specimen
    from benchsweep.simulator.tester import SimulatedTester, load_level, measure, write_result

    asked = choose_requirements([against]).requirements
    if len(asked) != 1:
        raise UsageError(
            f"{against} stands for {len(asked)} requirements; a tester tells margins of one",
            hint="Name one, see `benchsweep limits list`.",
        )
    requirement = asked[0]
    highest_mhz = max(band.to_mhz for line in requirement.lines for band in line.bands)
    grid = _grid(1e6 * highest_mhz, points)
    faults = dict(map(_fault, fault or ()))
    limits = {}
    for line in requirement.lines:
        if line.needs_length and length_m is None:
            continue
        curve = limit_curve(requirement, line.parameter, grid, length_m=length_m)
        if curve is not None:
            limits[str(line.parameter)] = curve.value
    told = measure(
        SimulatedTester(tester, load_level("demonstration"), seed, faults),
        load_specimen(specimen, seed=specimen_seed),
        grid,
        day=day,
        mating=mating,
        adjusted=_adjusted(adjusted, day),
    )
    path = write_result(
        output,
        told,
        shape=shape.value,
        limits=limits,
        not_counting=_not_counting(told, requirement),
        requirement=requirement.name,
        operator="simulated",
    )
    if as_json:
        print_json(
            {
                "schema": "benchsweep.simulated-tester/1",
                "file": str(path),
                "shape": shape.value,
                "tester": tester,
                "specimen": told.specimen,
                "at": told.at,
                "faults": faults,
            }
        )
    else:
        print_lines([f"written: {path}"])


def _adjusted(told: str, day: float) -> datetime:
    """Return when the tester was adjusted; so that it measures now, where that is not told."""
    from datetime import UTC, datetime, timedelta

    if not told:
        try:
            return datetime.now(UTC).replace(microsecond=0) - timedelta(days=day)
        except (OverflowError, ValueError):
            raise UsageError(f"{day:g} is no day", hint="Give the days since it was adjusted.") from None
    try:
        found = datetime.fromisoformat(told)
    except ValueError:
        raise UsageError(f"{told!r} is no day", hint="Write it as 2026-01-05.") from None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def _grid(highest_hz: float, points: int) -> NDArray[np.float64]:
    """Return the points of a sweep, closer at low frequencies, on whole kHz."""
    import numpy as np

    even = np.linspace(0.0, 1.0, points)
    grid = np.unique(np.round((1e6 + (highest_hz - 1e6) * even**1.5) / 1e3)) * 1e3
    return np.asarray(grid, dtype=np.float64)


def _not_counting(told: Told, requirement: Requirement) -> dict[tuple[str, str, str], NDArray[np.bool_]]:
    """Return where the requirement counts no margins of what a tester told, by its own values."""
    from benchsweep.limits import not_counting
    from benchsweep.records import Parameter, Trace

    names = {
        (Parameter(parameter), end or None, tuple(pairs.split("-"))): (parameter, end, pairs)
        for parameter, end, pairs in told.values
    }
    traces = [
        Trace(key[0], key[1], key[2], told.frequency_hz, told.values[name])  # type: ignore[arg-type]
        for key, name in names.items()
    ]
    return {names[key]: points for key, points in not_counting(traces, requirement).items()}


def _fault(text: str) -> tuple[str, float | None]:
    name, sign, size = text.partition("=")
    if not sign:
        return name, None
    try:
        return name, float(size)
    except ValueError:
        raise UsageError(f"--fault {text}: {size!r} is no number", hint="Write offset=1.5, in dB.") from None
