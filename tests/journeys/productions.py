"""What share of the reels of a simulated production conforms, and by what margins?

``python -m tests.journeys.productions tollmoor-6 --reels 200`` prints the figures that the description of its
file keeps. The matrix of each reel is taken without noise and goes through reduction and grading like any
record.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from benchsweep.limits import load_requirement
from benchsweep.qualification import evaluate, grade_evaluation
from benchsweep.records import Measurement, Outcome, Parameter, SMatrix, Specimen
from benchsweep.simulator.specimen import load_specimen

__all__ = ["Reel", "measured", "table"]

_AGAINST = "tia-6-cable"
_LENGTH_M = 100.0
_PAIR = {1: "12", 2: "12", 3: "36", 4: "45", 5: "45", 6: "36", 7: "78", 8: "78"}


@dataclass(frozen=True)
class Reel:
    """Outcome of a reel and the worst margin of each parameter, of both ends and all pairs."""

    name: str
    outcome: Outcome
    margins: dict[Parameter, float]


def measured(name: str, points: int = 250) -> Reel:
    """Return a reel of 100 m as a bench without any error would see it, from 1 to 250 MHz."""
    frequency = np.linspace(1e6, 250e6, points)
    legs = tuple(f"{end}:{pair}.{contact}" for end in "AB" for contact, pair in _PAIR.items())
    matrix = SMatrix(frequency, load_specimen(name, seed=0).scatter(frequency), legs, (50.0,) * len(legs))
    record = Measurement(
        Specimen(name, _LENGTH_M),
        "2026-11-02T08:15:00+00:00",
        "touchstone",
        "",
        "",
        matrix,
        ambient={"temperature_degc": 20.0},
    )
    verdict, _ = grade_evaluation(evaluate(record), load_requirement(_AGAINST), record="")
    margins: dict[Parameter, float] = {}
    for row in verdict.rows:
        if row.worst_margin_db is not None:
            margins[row.parameter] = min(row.worst_margin_db, margins.get(row.parameter, np.inf))
    return Reel(name, verdict.outcome, margins)


def table(reels: Sequence[Reel]) -> str:
    """Return the table in Markdown."""
    bad = [reel.name for reel in reels if reel.outcome is not Outcome.PASS]
    lines = [
        f"{len(reels)} reels against {_AGAINST}, {len(bad)} do not pass: {', '.join(bad) or 'none'}",
        "",
        "| parameter | mean margin | deviation | smallest | below zero |",
        "|---|---|---|---|---|",
    ]
    for parameter in reels[0].margins:
        margin = np.array([reel.margins[parameter] for reel in reels])
        spread = margin.std(ddof=1) if margin.size > 1 else np.nan
        figures = f"{margin.mean():.2f} | {spread:.2f} | {margin.min():.2f} | {(margin < 0.0).sum()}"
        lines.append(f"| {parameter} | {figures} |")
    return "\n".join(lines)


def main(arguments: Iterable[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("production")
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--reels", type=int, default=200)
    parser.add_argument("--points", type=int, default=250)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args(None if arguments is None else list(arguments))
    numbers = range(options.first, options.first + options.reels)
    names = [f"{options.production}-{number:04d}" for number in numbers]
    with ProcessPoolExecutor(options.workers) as pool:
        print(table(list(pool.map(partial(measured, points=options.points), names))))  # noqa: T201


if __name__ == "__main__":
    main()
