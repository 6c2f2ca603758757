from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import (
    Afresh,
    Against,
    AsJson,
    BudgetName,
    ColdSlope,
    Construction,
    Decision,
    LengthM,
    Quiet,
    TemperatureDegc,
)
from benchsweep.cli._output import print_json, print_text, progress_to_stderr, say
from benchsweep.cli._selection import Chosen, chooses_records
from benchsweep.errors import UsageError

__all__ = ["Jobs", "Scheduler", "regrade", "told_progress"]

_EVERY_S = 2.0

Jobs = Annotated[
    int | None,
    typer.Option("--jobs", metavar="N", min=1, help="How many processes; one for each core by default."),
]
Scheduler = Annotated[
    str,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS",
        help="A Dask cluster does the work, for example tcp://head:8786; needs benchsweep[cluster].",
    ),
]


@chooses_records
def regrade(
    chosen: Chosen,
    against: Against,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    jobs: Jobs = None,
    scheduler: Scheduler = "",
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write every row of every verdict there.")
    ] = None,
    parquet: Annotated[
        Path | None, typer.Option("--parquet", metavar="FILE", help="The same as Parquet.")
    ] = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep", help="Keep the verdicts in the archive, with the text of every requirement as used."
        ),
    ] = False,
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="With --keep: who grades.")] = "",
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Grade many records of an archive again; no record changes. The verdicts are those of `grade`.

    Corrections are applied; records that were withdrawn or reduced again are left out unless asked for.

    An interrupted run (Ctrl-C, a kill, a power cut) goes on where it stopped when the same command is given
    again. What needs a length that nobody gave is undecided. Exit code 6 when a record is damaged, after all
    others are graded; else 1 when any fails, 3 when any is undecided, 0 when all pass.

    Example: `benchsweep archive regrade --against tia-6a-cord --since 2026 --csv verdicts.csv`
    """
    from benchsweep.qualification import (
        RegradeJob,
        check_decision_rule,
        chosen_items,
        exit_code_of_regrade,
        keep_sink,
        load_requirements,
        regrade_document,
        runner_for,
        table_sink,
        told_conditions,
    )
    from benchsweep.qualification import regrade as grade_again

    if by and not keep:
        raise UsageError("--by does nothing without --keep", hint="Give --keep, or leave it out.")
    job = RegradeJob.asked(
        load_requirements(against),
        budget=budget,
        decision_rule=check_decision_rule(decision),
        length_m=length_m,
        conditions=told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope),
    )
    sinks = [table_sink(path) for path in (csv, parquet) if path is not None]
    if keep:
        sinks.insert(0, keep_sink(chosen.root, job, by=by))
    items, damaged = chosen_items(chosen.root, chosen.selection, progress=progress_to_stderr(quiet))
    found = grade_again(
        items,
        job,
        runner_for(len(items), jobs=jobs, scheduler=scheduler),
        archive_root=chosen.root,
        damaged=damaged,
        sinks=sinks,
        afresh=afresh,
        progress=None if quiet else told_progress(),
    )
    document = regrade_document(found)
    for problem in (*document["damaged"], *document["not_graded"]):
        say(f"{problem['record']}: {problem['reason']}")
    if as_json:
        print_json(document)
    else:
        print_text(_table(document))
    raise typer.Exit(exit_code_of_regrade(found))


def told_progress() -> Callable[[int, int], None]:
    """Return a callable that says now and then on stderr how far a bulk run has come."""
    begun = last = time.monotonic()
    first: int | None = None

    def told(done: int, total: int) -> None:
        nonlocal last, first
        now = time.monotonic()
        first = done if first is None else first
        if now - last > _EVERY_S:
            last = now
            rate = (done - first) / (now - begun)
            left = f", about {(total - done) / rate:.0f} s left" if rate > 0.0 else ""
            say(f"{done} of {total} records{left}")

    return told


def _table(document: dict[str, object]) -> str:
    requirements = document["requirements"]
    assert isinstance(requirements, dict)  # noqa: S101 - for the type checker
    outcomes = list(next(iter(requirements.values()), {}))
    width = max((len(name) for name in requirements), default=0)
    lines = [f"{'against':<{width}}  " + "  ".join(outcomes)]
    lines += [
        f"{name:<{width}}  " + "  ".join(f"{counts[outcome]:>{len(outcome)}}" for outcome in outcomes)
        for name, counts in requirements.items()
    ]
    resumed = f", {document['resumed']} of them by an earlier run" if document["resumed"] else ""
    lines.append(f"{document['records']} records in {document['seconds']} s{resumed}")
    return "\n".join(lines)
